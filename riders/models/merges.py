from __future__ import annotations

from django.db import models


class Merge(models.Model):
    """A rider, horse or pair that stood here twice was made one: who, when, why, and every step of it.

    ``steps`` lists in order what was moved, removed and filled in, so that undoing walks it backwards. ``keys`` maps
    the keys of pairs that went to the pairs that stayed, so that files may go on naming them. ``kept`` and ``gone`` are
    row numbers, not foreign keys: a kept row may itself go in a later merge. Rows are never deleted.
    """

    class Kind(models.TextChoices):
        RIDER = "rider", "rider"
        HORSE = "horse", "horse"
        PAIR = "pair", "pair"

    kind = models.CharField(max_length=5, choices=Kind.choices)
    kept = models.BigIntegerField()
    gone = models.BigIntegerField()
    kept_name = models.CharField(max_length=260)
    gone_name = models.CharField(max_length=260)
    steps = models.JSONField()
    keys = models.JSONField(default=dict)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    undo_reason = models.CharField(max_length=300, blank=True)
    undo_notes = models.JSONField(default=list)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(kept=models.F("gone")), name="merge_of_two"),
            models.CheckConstraint(condition=~models.Q(reason=""), name="merge_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.gone_name} into {self.kept_name}"
