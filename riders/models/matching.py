from __future__ import annotations

from django.db import models
from django.db.models import Q


class NameDecision(models.Model):
    """Who is meant by a spelling of one source of files: a known rider or horse, or (neither given) someone new.

    ``made`` lists the pairs that imports made on the strength of it, so that it can be undone. Rows are never deleted.
    """

    class Kind(models.TextChoices):
        RIDER = "rider", "rider"
        HORSE = "horse", "horse"

    source = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=5, choices=Kind.choices)
    spelling = models.CharField(max_length=120)
    rider = models.ForeignKey("riders.Rider", on_delete=models.PROTECT, null=True, blank=True, related_name="spellings")
    horse = models.ForeignKey("riders.Horse", on_delete=models.PROTECT, null=True, blank=True, related_name="spellings")
    made = models.JSONField(default=list)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["source", "kind", "spelling"],
                condition=Q(undone_at__isnull=True),
                name="name_decision_in_force_once",
            ),
            models.CheckConstraint(
                condition=Q(kind="rider", horse__isnull=True) | Q(kind="horse", rider__isnull=True),
                name="name_decision_of_one_kind",
            ),
        ]

    def __str__(self) -> str:
        return f'"{self.spelling}" is {self.member or "someone new"}'

    @property
    def member(self) -> models.Model | None:
        return self.rider or self.horse
