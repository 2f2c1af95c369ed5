"""Handing a job's id to the queue, so that nobody waits for a broker that is down."""

from __future__ import annotations

from uuid import UUID

from reports.models import Job
from riders.services.workqueue import hand_over

RUN_TASK = "reports.job_run"
SWEEP_TASK = "reports.jobs_sweep"


def enqueue(job_id: UUID) -> bool:
    """Give the id to the broker once; say whether it took it. What it did not take the sweep hands on."""
    return hand_over(Job, job_id, task=RUN_TASK)
