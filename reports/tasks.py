"""What the queue calls. A task carries an id; everything else stands in the job's row."""

from __future__ import annotations

from datetime import timedelta

from celery import shared_task
from celery.signals import worker_ready
from django.db import connections

from reports.services.clearing import clear_old_reports
from reports.services.queue import RUN_TASK, SWEEP_TASK
from reports.services.running import run_job
from reports.services.sweeping import sweep_jobs
from riders.services.workqueue import wake


@shared_task(name=RUN_TASK)
def job_run_task(job_id: str) -> str:
    job = run_job(job_id)
    return job.state if job else "nothing to do"


@shared_task(name=SWEEP_TASK, expires=60)
def jobs_sweep_task() -> str:
    swept = sweep_jobs()
    clear_old_reports(now_and_then=True)
    return f"{swept.put_back} put back, {swept.given_up} given up"


@worker_ready.connect
def sweep_at_start(**_: object) -> None:
    """Catch up at once with everything that is queued: what the broker holds too is claimed only once."""
    wake()
    sweep_jobs(queued_too_long=timedelta(0))
    connections.close_all()  # what this process forks must not inherit an open database
