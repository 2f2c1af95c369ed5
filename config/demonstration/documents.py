"""The documents of the demonstration, made by a real worker from the real queue, waited for with a bound."""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.files.storage import default_storage
from django.db import connections

from competitions.models import Sheet
from config.demonstration.scenario import Say, Scenario
from config.demonstration.year_end import year_end_documents
from config.management.commands.serve import worker_service
from config.supervisor import Service
from reports.models import Job
from reports.services.requests import request_report
from riders.models import User

_PAGE = re.compile(rb"/Type\s*/Page\b")
_SHEET = re.compile(rb"PK\x01\x02.{42}xl/worksheets/sheet\d", re.DOTALL)  # named in the directory of the archive
_LINE = re.compile(rb"\r\n")
_STARTS = {"pdf": b"%PDF-", "xlsx": b"PK", "csv": b""}
_LOOK_EVERY = 0.1
_PATIENCE_AT_THE_END = 25


@dataclass(frozen=True, slots=True)
class Made:
    """One document as it lies in the file store; a workbook has sheets for pages, a CSV file its lines."""

    name: str
    path: str
    pages: int
    size: int


class DocumentsNotMade(Exception):  # noqa: N818 - reads as the sentence it carries
    """Something stood in the way; the message is a sentence for whoever ran the command."""


def wanted_documents(scenario: Scenario) -> list[dict[str, Any]]:
    """Return what to ask for: every kind, for every class, and all that belongs to the rider of the demonstration."""
    classes = list(scenario.competition.classes.order_by("number"))
    wanted: list[dict[str, Any]] = [
        {"kind": kind, "target": found.pk} for found in classes for kind in ("running-order", "results", "working")
    ]
    wanted += [
        {"kind": "championship", "target": championship.pk}
        for championship in scenario.competition.championships.order_by("pk")
    ]
    own = {"entry__competition_class__competition": scenario.competition, "entry__pair__rider": scenario.rider}
    sheets = list(Sheet.objects.filter(**own).order_by("entry__competition_class__number", "pk"))
    wanted += [{"kind": "sheets", "target": entry} for entry in dict.fromkeys(sheet.entry_id for sheet in sheets)]
    wanted += [{"kind": "sheet", "target": sheet.pk} for sheet in sheets]
    season = scenario.season.pk
    wanted += [
        {"kind": "season-statement", "target": pair.pk, "options": {"season": season}} for pair in scenario.pairs
    ]
    return wanted + year_end_documents(scenario.association)


def ask_for(wanted: Sequence[Mapping[str, Any]]) -> list[UUID]:
    """Ask for documents and return their jobs; those that were asked for already stay as they are."""
    by = User.objects.filter(is_staff=True, groups__name__startswith="demonstration").first()
    if by is None:
        raise DocumentsNotMade("The demonstration has no staff account any more, so nobody can ask for its documents.")
    return [request_report(by=by, **request).pk for request in wanted]


def make_documents(scenario: Scenario, *, patience: float, say: Say) -> list[Made]:
    """Ask for the documents, have a worker make them, and return them; raise when one fails or time runs out."""
    jobs = ask_for(wanted_documents(scenario))
    say(f"{len(jobs)} documents are asked for; a worker makes them.")
    with _worker() as worker:
        _wait_for(jobs, worker, until=time.monotonic() + patience)
    return [_made(job) for job in Job.objects.filter(pk__in=jobs).order_by("kind", "file_name", "pk")]


@contextmanager
def _worker() -> Iterator[subprocess.Popen[bytes]]:
    connections.close_all()
    service: Service = worker_service()
    service.start(lambda _: None)
    assert service.process is not None  # noqa: S101 - start has set it
    try:
        yield service.process
    finally:
        service.ask_to_end()
        try:
            service.process.wait(_PATIENCE_AT_THE_END)
        except subprocess.TimeoutExpired:
            service.process.kill()
        service.end_group()


def _wait_for(jobs: Sequence[UUID], worker: subprocess.Popen[bytes], *, until: float) -> None:
    while True:
        left = list(Job.objects.filter(pk__in=jobs, state__in=[Job.State.QUEUED, Job.State.RUNNING]))
        if not left:
            break
        if worker.poll() is not None:
            raise DocumentsNotMade(f"The worker ended (exit {worker.returncode}) with {len(left)} documents to make.")
        if time.monotonic() > until:
            raise DocumentsNotMade(f"{len(left)} of {len(jobs)} documents were not made in time.")
        time.sleep(_LOOK_EVERY)
    failed = Job.objects.filter(pk__in=jobs, state=Job.State.FAILED).order_by("kind", "pk")
    if failed:
        sentences = " ".join(f"{job.kind} {job.target}: {job.message}" for job in failed)
        raise DocumentsNotMade(f"{len(failed)} of {len(jobs)} documents failed. {sentences}")


def _made(job: Job) -> Made:
    with default_storage.open(job.file) as file:
        content = file.read()
    ending = job.file_name.rpartition(".")[2]
    pages = len({"pdf": _PAGE, "xlsx": _SHEET, "csv": _LINE}[ending].findall(content))
    if not content.startswith(_STARTS[ending]) or not pages:
        raise DocumentsNotMade(f"The file of {job.kind} {job.target} is no document: {len(content)} bytes, no page.")
    return Made(job.file_name, job.file, pages, len(content))
