"""The sign of life that a job gives while it is made."""

from __future__ import annotations

import logging
import threading
from types import TracebackType
from uuid import UUID

from django.db import DatabaseError, connection
from django.utils import timezone

from reports.models import Job

log = logging.getLogger("markbook.reports")

BEAT_SECONDS = 5.0


class Heartbeat:
    """Write the time into the job's row every few seconds, from a thread of its own, until the block is left."""

    def __init__(self, job_id: UUID, *, attempt: int, every: float = BEAT_SECONDS) -> None:
        self._job_id, self._attempt, self._every = job_id, attempt, every
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._beat, name=f"heartbeat-{job_id}", daemon=True)

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
        mine = Job.objects.filter(pk=self._job_id, state=Job.State.RUNNING, attempts=self._attempt)
        try:
            mine.update(heartbeat_at=timezone.now())
        except DatabaseError:
            log.warning("The heartbeat of job %s could not be written; the next one is tried.", self._job_id)
