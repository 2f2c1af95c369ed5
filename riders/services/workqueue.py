"""Work through the queue: handed over, claimed, kept alive, and found again where a worker left it.

A model of :class:`riders.models.work.QueuedWork` holds the rows; what is done with them is its owner's.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from types import TracebackType
from typing import Any, TypeVar
from uuid import UUID

from celery import current_app
from django.db import DatabaseError, connection
from django.db.models import F, Q, QuerySet
from django.utils import timezone
from kombu.exceptions import KombuError, OperationalError

from riders.models.work import QueuedWork
from riders.transactions import write_transaction

log = logging.getLogger("markbook.queue")

BEAT_SECONDS = 5.0
NEVER_TAKEN_TOO_LONG = timedelta(seconds=10)
QUEUED_TOO_LONG = timedelta(seconds=60)
SILENT_TOO_LONG = timedelta(seconds=20)
MOST_ATTEMPTS = 3
_AT_ONCE = 200
_REST_SECONDS = 15.0
_lock = threading.Lock()
_resting_until = 0.0
_W = TypeVar("_W", bound=QueuedWork)


def hand_over(model: type[QueuedWork], work_id: UUID, *, task: str) -> bool:
    """Give the id to the broker once, without retries; say whether it took it.

    Work that it did not take stays queued and the sweep hands it on. After a refusal this process leaves the broker
    alone for some seconds, so that a host that does not answer costs one request its time-out and not every one.
    """
    if time.monotonic() < _resting_until:
        return False
    try:
        current_app.send_task(task, args=(str(work_id),), retry=False)
    except (OperationalError, KombuError, OSError) as problem:
        _rest()
        log.warning("The broker did not take job %s (%s). It stays queued until the sweep.", work_id, problem)
        return False
    rows = model._default_manager.filter(pk=work_id, state=QueuedWork.State.QUEUED)  # noqa: SLF001 - Django's name
    rows.update(heartbeat_at=timezone.now())
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


def claim(model: type[_W], work_id: UUID | str) -> _W | None:
    """Take queued work for this worker; None where it is gone, done, or another worker has it."""
    now, rows = timezone.now(), model._default_manager  # noqa: SLF001
    with write_transaction():
        claimed = rows.filter(pk=work_id, state=QueuedWork.State.QUEUED).update(
            state=QueuedWork.State.RUNNING,
            attempts=F("attempts") + 1,
            started_at=now,
            heartbeat_at=now,
            finished_at=None,
            progress=5,
            message="",
        )
    return rows.filter(pk=work_id, state=QueuedWork.State.RUNNING).first() if claimed else None


def held(work: _W) -> QuerySet[_W]:
    """Select the row as long as this attempt holds it: another worker's claim raises the attempts."""
    rows = type(work)._default_manager  # noqa: SLF001
    return rows.filter(pk=work.pk, state=QueuedWork.State.RUNNING, attempts=work.attempts)


def note_progress(work: QueuedWork, progress: int) -> None:
    held(work).update(progress=progress, heartbeat_at=timezone.now())


def fail(work: QueuedWork, message: str) -> None:
    """Say why it failed, for a person, unless the lease was lost."""
    with write_transaction():
        held(work).update(state=QueuedWork.State.FAILED, finished_at=timezone.now(), message=message)


class Heartbeat:
    """Write the time into the work's row every few seconds, from a thread of its own, until the block is left."""

    def __init__(self, work: QueuedWork, *, every: float = BEAT_SECONDS) -> None:
        self._work, self._every = work, every
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._beat, name=f"heartbeat-{work.pk}", daemon=True)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stopped.set()
        self._thread.join()

    def _beat(self) -> None:
        try:
            while not self._stopped.wait(self._every):
                self._write()
        finally:
            connection.close()

    def _write(self) -> None:
        try:
            held(self._work).update(heartbeat_at=timezone.now())
        except DatabaseError:
            log.warning("The heartbeat of job %s could not be written; the next one is tried.", self._work.pk)


@dataclass(frozen=True, slots=True)
class Swept:
    """How many jobs were handed to the queue again, and how many were given up."""

    put_back: int
    given_up: int


def sweep(
    model: type[QueuedWork], *, enqueue: Callable[[UUID], bool], what: str, queued_too_long: timedelta = QUEUED_TOO_LONG
) -> Swept:
    """Put back what was left queued too long or is running without a sign of life; give up after three attempts.

    What no broker has taken yet is put back sooner than what one took: that may only be waiting for its turn. ``what``
    is what the worker was doing, for the sentence to a person: "made this report".
    """
    now, rows = timezone.now(), model._default_manager  # noqa: SLF001
    silent: QuerySet[Any] = rows.filter(state=QueuedWork.State.RUNNING, heartbeat_at__lt=now - SILENT_TOO_LONG)
    with write_transaction():
        given_up = silent.filter(attempts__gte=MOST_ATTEMPTS).update(
            state=QueuedWork.State.FAILED,
            finished_at=now,
            message=f"The worker stopped {MOST_ATTEMPTS} times while it {what}. Try again; if it fails again, tell "
            "whoever runs this service.",
        )
        silent_ids = set(silent.values_list("pk", flat=True))
        silent.update(state=QueuedWork.State.QUEUED, progress=0, heartbeat_at=None)
    never_taken = Q(heartbeat_at__isnull=True, requested_at__lte=now - min(NEVER_TAKEN_TOO_LONG, queued_too_long))
    waiting = never_taken | Q(heartbeat_at__lte=now - queued_too_long)
    left = rows.filter(state=QueuedWork.State.QUEUED).filter(waiting | Q(pk__in=silent_ids))
    put_back = sum(
        enqueue(work_id) for work_id in left.order_by("requested_at").values_list("pk", flat=True)[:_AT_ONCE]
    )
    return Swept(put_back, given_up)
