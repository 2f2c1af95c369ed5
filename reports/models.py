from __future__ import annotations

from django.db import models

from riders.models.work import QueuedWork


class Job(QueuedWork):
    """The work of making one report.

    ``target`` is the id of the object the report is about, ``target_version`` the version it shows: the same kind,
    target, version and options asked for twice is the same job, built once.
    """

    kind = models.CharField(max_length=30)
    target = models.BigIntegerField()
    target_version = models.CharField(max_length=80)
    options = models.JSONField(default=dict)
    key = models.CharField(max_length=64, unique=True, help_text="Digest of kind, target, version and options.")
    file = models.CharField(max_length=200, blank=True, help_text="Path below the file store.")
    file_name = models.CharField(max_length=200, blank=True)
    digest = models.CharField(max_length=64, blank=True)
