from __future__ import annotations

from django.db import models


class WaitingImport(models.Model):
    """A file of scores that was handed in, with what it would change, until someone confirms it or takes it away.

    ``content`` and ``preview`` are compressed. ``digest`` names the file, ``state`` what was worked out from it and the
    ledger together: a confirmation names both. ``source`` says where the file comes from; decisions on names belong to
    it. Once confirmed, content and preview are dropped and ``summary`` stays.
    """

    source = models.CharField(max_length=80, blank=True)
    file_name = models.CharField(max_length=120, blank=True)
    digest = models.CharField(max_length=64)
    content = models.BinaryField()
    preview = models.BinaryField()
    state = models.CharField(max_length=64)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    summary = models.JSONField(default=dict)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.file_name or f"file {self.digest[:8]}"
