"""What the queue's clock calls: leftovers of uploads that were broken off go after some days."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from competitions.services.recordings import sweep_recordings


@shared_task(name="competitions.recordings_sweep", expires=600)
def recordings_sweep_task() -> str:
    return f"{sweep_recordings(now=timezone.now())} removed"
