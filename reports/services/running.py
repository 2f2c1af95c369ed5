"""Doing a job: claim it, read, print, keep the file, say how it ended. Twice, late or in vain, it harms nothing."""

from __future__ import annotations

import hashlib
import logging
import threading
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from billiard.exceptions import SoftTimeLimitExceeded
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import IntegrityError
from django.utils import timezone

from reports.kind import Kind
from reports.kinds import kind_named
from reports.models import Job
from reports.services.printing import PRINTS
from reports.services.requests import job_key
from riders.errors import DomainError
from riders.services.workqueue import Heartbeat, claim, fail, held, note_progress
from riders.transactions import write_transaction

log = logging.getLogger("markbook.reports")

_READ_TRIES = 5
# ReportLab is not known to be safe on several threads: one build at a time in a process.
_building = threading.Lock()


@dataclass(frozen=True, slots=True)
class Made:
    """What a build came to: the version that it really shows, and its file."""

    version: str
    file_name: str
    pages: bytes

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.pages).hexdigest()


def run_job(job_id: UUID | str) -> Job | None:
    """Do a queued job and return its row; None where it is gone, done, or another worker has it."""
    job = claim(Job, job_id)
    if job is None:
        return None
    try:
        with Heartbeat(job):
            made = _make(job)
            note_progress(job, 90)
            file = _keep(made)
        _finish(job, made, file)
    except SoftTimeLimitExceeded:
        _fail(
            job,
            "Making this report took longer than it may, so it was stopped. Try again; a shorter report is quicker.",
        )
    except DomainError as refusal:
        _fail(job, refusal.message)
    except Exception:
        log.exception("Job %s (%s %s) failed.", job.pk, job.kind, job.target)
        _fail(
            job,
            "This report could not be made because of a fault in the program. Try again; if it fails again, tell "
            f"whoever runs this service and name the report {job.pk}.",
        )
    return Job.objects.filter(pk=job.pk).first()


def _make(job: Job) -> Made:
    kind = kind_named(job.kind)
    version, subject, data = _read(job, kind)
    note_progress(job, 40)
    with _building:
        pages = PRINTS[kind.name].build(data)
    return Made(version, kind.file_name(subject), pages)


def _read(job: Job, kind: Kind) -> tuple[str, Any, Any]:
    """Read until nothing has changed meanwhile, so that the document shows one version and names it."""
    version, subject, data = "", None, None
    for _ in range(_READ_TRIES):
        subject = _subject(job, kind)
        data = PRINTS[kind.name].read(subject)
        version = kind.version(subject)
        if kind.version(_subject(job, kind)) == version:
            break
    return version, subject, data


def _subject(job: Job, kind: Kind) -> Any:
    subject = kind.find(job.target, job.options)
    if subject is None:
        raise DomainError("What this report is about is no longer there. Go back to the competition or the season.")
    return subject


def _keep(made: Made) -> str:
    """Keep the file under its own digest: the same content is one file, and a row only ever points to a whole one."""
    ending = made.file_name.rpartition(".")[2]
    path = f"reports/{made.digest[:2]}/{made.digest}.{ending}"
    if default_storage.exists(path):
        with default_storage.open(path) as kept:
            if kept.read() == made.pages:
                return path
        default_storage.delete(path)
    return str(default_storage.save(path, ContentFile(made.pages)))


def _finish(job: Job, made: Made, file: str) -> None:
    """Say that it is done, unless the lease was lost or the job deleted; the row names the version that is shown."""
    values = {
        "state": Job.State.DONE,
        "progress": 100,
        "finished_at": timezone.now(),
        "file": file,
        "file_name": made.file_name,
        "digest": made.digest,
        "target_version": made.version,
    }
    key = job_key(job.kind, job.target, made.version, job.options)
    try:
        with write_transaction():
            finished = held(job).update(**values, key=key)
    except IntegrityError:
        # Someone has asked for the newer version too; its own job makes the same file.
        with write_transaction():
            finished = held(job).update(**values)
    if not finished:
        log.info("Job %s was taken over or deleted while it was made.", job.pk)


def _fail(job: Job, message: str) -> None:
    log.warning("Job %s (%s %s) failed: %s", job.pk, job.kind, job.target, message)
    fail(job, message)
