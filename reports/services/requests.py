"""Asking for a report: the row first, then the queue."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from functools import partial
from typing import Any

from django.core.files.storage import default_storage
from django.db import transaction

from reports import policy
from reports.kind import Kind
from reports.kinds import LAYOUT_VERSION, kind_named
from reports.models import Job
from reports.services.queue import enqueue
from riders.errors import InvalidInput, NotAllowed
from riders.policy import Visitor
from riders.transactions import write_transaction


def request_report(*, kind: str, target: int, options: Mapping[str, Any] | None = None, by: Visitor) -> Job:
    """Return the job of a report; the same one for the same kind, target, version and options, however often asked.

    A job that failed, or whose file is gone, is put back into the queue.
    """
    chosen, options = kind_named(kind), dict(options or {})
    _refuse_unknown(options, chosen)
    subject = chosen.find(target, options)
    if subject is None:
        raise InvalidInput(f"There is nothing with the id {target} to make this report of.", code="unknown-target")
    if not policy.can_request(by, kind=kind, subject=subject):
        raise NotAllowed("You may not have this report. Ask the show office, or log in with another account.")
    options = chosen.settle(subject) if chosen.settle else options
    version = chosen.version(subject)
    with write_transaction():
        job, created = Job.objects.get_or_create(
            key=job_key(kind, target, version, options),
            defaults={
                "kind": kind,
                "target": target,
                "target_version": version,
                "options": options,
                "requested_by": by if by.is_authenticated else None,
            },
        )
        if created:
            transaction.on_commit(partial(enqueue, job.pk))
        elif job.state == Job.State.FAILED or is_lost(job):
            _put_back(job)
    return job


def retry_job(job: Job, *, by: Visitor) -> Job:
    """Put a failed job, or one whose file is gone, back into the queue; any other is left as it is."""
    if not policy.can_view(by, job):
        raise NotAllowed("You may not have this report. Ask the show office, or log in with another account.")
    with write_transaction():
        if job.state == Job.State.FAILED or is_lost(job):
            _put_back(job)
    job.refresh_from_db()
    return job


def job_key(kind: str, target: int, version: str, options: Mapping[str, Any]) -> str:
    """Return the digest that makes two requests the same."""
    said = json.dumps([kind, target, version, options, LAYOUT_VERSION], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(said.encode()).hexdigest()


def is_lost(job: Job) -> bool:
    return job.state == Job.State.DONE and not default_storage.exists(job.file)


def _put_back(job: Job) -> None:
    changed = Job.objects.filter(pk=job.pk, state=job.state).update(
        state=Job.State.QUEUED, attempts=0, progress=0, message="", heartbeat_at=None, finished_at=None
    )
    if changed:
        job.state = Job.State.QUEUED
        transaction.on_commit(partial(enqueue, job.pk))


def _refuse_unknown(options: Mapping[str, Any], kind: Kind) -> None:
    unknown = sorted(set(options) - kind.options)
    if unknown:
        raise InvalidInput(
            f'A report of the kind "{kind.name}" has no option "{unknown[0]}". Leave it out.',
            problems=[(f"options.{name}", "This option is not known.") for name in unknown],
            code="unknown-option",
        )
