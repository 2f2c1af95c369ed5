"""What the queue calls. A task carries an id; everything else stands in the row."""

from __future__ import annotations

from datetime import timedelta

from celery import shared_task
from celery.signals import worker_ready
from django.db import connections

from riders.services.rebuilds import RUN_TASK, SWEEP_TASK, run_rebuild, sweep_rebuilds
from riders.services.workqueue import wake

# A long ledger under a scheme that needs a search takes minutes; the queue waits longer before it hands it out again.
_SOFT_SECONDS, _HARD_SECONDS = 540, 570


@shared_task(name=RUN_TASK, soft_time_limit=_SOFT_SECONDS, time_limit=_HARD_SECONDS)
def standings_rebuild_task(rebuild_id: str) -> str:
    rebuild = run_rebuild(rebuild_id)
    return rebuild.state if rebuild else "nothing to do"


@shared_task(name=SWEEP_TASK, expires=60)
def rebuilds_sweep_task() -> str:
    swept = sweep_rebuilds()
    return f"{swept.put_back} put back, {swept.given_up} given up"


@worker_ready.connect
def sweep_at_start(**_: object) -> None:
    """Catch up at once with what was left; what the broker holds too is claimed only once."""
    wake()
    sweep_rebuilds(queued_too_long=timedelta(0))
    connections.close_all()  # what this process forks must not inherit an open database
