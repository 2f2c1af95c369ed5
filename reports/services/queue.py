"""Handing a job's id to the queue, so that nobody waits for a broker that is down."""

from __future__ import annotations

import logging
import threading
import time
from uuid import UUID

from celery import current_app
from django.utils import timezone
from kombu.exceptions import KombuError, OperationalError

from reports.models import Job

log = logging.getLogger("markbook.reports")

RUN_TASK = "reports.job_run"
SWEEP_TASK = "reports.jobs_sweep"
_REST_SECONDS = 15.0
_lock = threading.Lock()
_resting_until = 0.0


def enqueue(job_id: UUID) -> bool:
    """Give the id to the broker once, without retries; say whether it took it.

    A job that it did not take stays queued and the sweep hands it on. After a refusal this process leaves the broker
    alone for some seconds, so that a host that does not answer costs one request its time-out and not every one.
    """
    if time.monotonic() < _resting_until:
        return False
    try:
        current_app.send_task(RUN_TASK, args=(str(job_id),), retry=False)
    except (OperationalError, KombuError, OSError) as problem:
        _rest()
        log.warning("The broker did not take job %s (%s). It stays queued until the sweep.", job_id, problem)
        return False
    Job.objects.filter(pk=job_id, state=Job.State.QUEUED).update(heartbeat_at=timezone.now())
    return True


def _rest() -> None:
    global _resting_until  # noqa: PLW0603 - one breaker for the process
    with _lock:
        _resting_until = time.monotonic() + _REST_SECONDS


def wake() -> None:
    """Try the broker again at the next job."""
    global _resting_until  # noqa: PLW0603 - as above
    with _lock:
        _resting_until = 0.0
