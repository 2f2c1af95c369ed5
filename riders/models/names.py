from __future__ import annotations

from django.db import models


class NameChange(models.Model):
    """A rider or horse was given another name: who, when, why, and the names before and after. Rows are only added.

    ``member`` is a row number, not a foreign key: the row may itself go in a later merge. Files may go on using the
    name before.
    """

    class Kind(models.TextChoices):
        RIDER = "rider", "rider"
        HORSE = "horse", "horse"

    kind = models.CharField(max_length=5, choices=Kind.choices)
    member = models.BigIntegerField()
    before = models.CharField(max_length=120)
    after = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["kind", "member"], name="name_change_of_a_member")]
        constraints = [
            models.CheckConstraint(condition=~models.Q(before=models.F("after")), name="name_change_changes"),
            models.CheckConstraint(condition=~models.Q(reason=""), name="name_change_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.before} is now {self.after}"
