from __future__ import annotations

from django.db import models


class IdempotencyRecord(models.Model):
    """A write that was carried out under an ``Idempotency-Key``, with its answer, so that a repetition changes nothing.

    The row is written in the same transaction as the effect; ``status`` is null until the answer has been kept too.
    """

    user = models.ForeignKey("riders.User", on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=120)
    method = models.CharField(max_length=7)
    path = models.CharField(max_length=300)
    digest = models.CharField(max_length=64, help_text="Digest of the body and of If-Match.")
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="idempotency_key_once_for_a_user")]
