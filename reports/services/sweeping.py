"""Finding what was left behind: jobs that no broker took, and jobs whose worker died."""

from __future__ import annotations

from datetime import timedelta

from reports.models import Job
from reports.services.queue import enqueue
from riders.services.workqueue import QUEUED_TOO_LONG, Swept, sweep


def sweep_jobs(*, queued_too_long: timedelta = QUEUED_TOO_LONG) -> Swept:
    """Put back jobs that wait or are silent too long; give up after three attempts."""
    return sweep(Job, enqueue=enqueue, what="made this report", queued_too_long=queued_too_long)
