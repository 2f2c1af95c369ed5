from __future__ import annotations

import uuid

from django.db import models


class QueuedWork(models.Model):
    """Work that goes through the queue. The row comes first; the queue only carries its id.

    ``heartbeat_at`` is the last sign of life: when the queue took the work, later the last word of the worker that does
    it. ``attempts`` is the lease: whoever claims the row raises it, and only the latest claim may write.
    """

    class State(models.TextChoices):
        QUEUED = "queued", "queued"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    state = models.CharField(max_length=7, choices=State.choices, default=State.QUEUED)
    progress = models.PositiveSmallIntegerField(default=0, help_text="Per cent.")
    attempts = models.PositiveSmallIntegerField(default=0)
    requested_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    requested_at = models.DateTimeField(auto_now_add=True)
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    message = models.TextField(blank=True, help_text="Why it failed and what to do, for a person.")

    class Meta:
        abstract = True
        ordering = ["-requested_at", "id"]
