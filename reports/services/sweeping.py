"""Finding what was left behind: jobs that no broker took, and jobs whose worker died."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from reports.models import Job
from reports.services.queue import enqueue
from riders.transactions import write_transaction

NEVER_TAKEN_TOO_LONG = timedelta(seconds=10)
QUEUED_TOO_LONG = timedelta(seconds=60)
SILENT_TOO_LONG = timedelta(seconds=20)
MOST_ATTEMPTS = 3
_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Swept:
    """How many jobs were handed to the queue again, and how many were given up."""

    put_back: int
    given_up: int


def sweep_jobs(*, queued_too_long: timedelta = QUEUED_TOO_LONG) -> Swept:
    """Put back what was left queued too long or is running without a sign of life; give up after three attempts.

    What no broker has taken yet is put back sooner than what one took: that may only be waiting for its turn.
    """
    now = timezone.now()
    silent = Job.objects.filter(state=Job.State.RUNNING, heartbeat_at__lt=now - SILENT_TOO_LONG)
    with write_transaction():
        given_up = silent.filter(attempts__gte=MOST_ATTEMPTS).update(
            state=Job.State.FAILED,
            finished_at=now,
            message=f"The worker stopped {MOST_ATTEMPTS} times while it made this report. Try again; if it fails "
            "again, tell whoever runs this service.",
        )
        silent_ids = set(silent.values_list("pk", flat=True))
        silent.update(state=Job.State.QUEUED, progress=0, heartbeat_at=None)
    never_taken = Q(heartbeat_at__isnull=True, requested_at__lte=now - min(NEVER_TAKEN_TOO_LONG, queued_too_long))
    waiting = never_taken | Q(heartbeat_at__lte=now - queued_too_long)
    left = Job.objects.filter(state=Job.State.QUEUED).filter(waiting | Q(pk__in=silent_ids))
    put_back = sum(enqueue(job_id) for job_id in left.order_by("requested_at").values_list("pk", flat=True)[:_AT_ONCE])
    return Swept(put_back, given_up)
