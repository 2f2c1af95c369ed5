from __future__ import annotations

from django.db import models


class CheckDecision(models.Model):
    """Someone of the office has looked at a finding of the table of differences, and why it may stand.

    ``key`` names the finding (its kind, entry, seat or item), ``figures`` what it said: a finding whose figures have
    changed since has to be looked at again. Rows are only ever added; the last one of a key counts.
    """

    competition_class = models.ForeignKey(
        "competitions.CompetitionClass", on_delete=models.CASCADE, related_name="check_decisions"
    )
    key = models.CharField(max_length=200)
    figures = models.CharField(max_length=200)
    reason = models.CharField(max_length=300)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["competition_class", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(reason=""), name="check_decision_has_a_reason"),
        ]
