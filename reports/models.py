from __future__ import annotations

import uuid

from django.db import models


class Job(models.Model):
    """The work of making one report. The row comes first; the queue only carries its id.

    ``target`` is the id of the object the report is about, ``target_version`` the version it shows: the same kind,
    target, version and options asked for twice is the same job, built once. ``heartbeat_at`` is the last sign of life:
    when the queue took the job, later the last word of the worker that makes it.
    """

    class State(models.TextChoices):
        QUEUED = "queued", "queued"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=30)
    target = models.BigIntegerField()
    target_version = models.CharField(max_length=80)
    options = models.JSONField(default=dict)
    key = models.CharField(max_length=64, unique=True, help_text="Digest of kind, target, version and options.")
    state = models.CharField(max_length=7, choices=State.choices, default=State.QUEUED)
    progress = models.PositiveSmallIntegerField(default=0, help_text="Per cent.")
    attempts = models.PositiveSmallIntegerField(default=0)
    requested_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    requested_at = models.DateTimeField(auto_now_add=True)
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    file = models.CharField(max_length=200, blank=True, help_text="Path below the file store.")
    file_name = models.CharField(max_length=200, blank=True)
    digest = models.CharField(max_length=64, blank=True)
    message = models.TextField(blank=True, help_text="Why it failed and what to do, for a person.")

    class Meta:
        ordering = ["-requested_at", "id"]
