from __future__ import annotations

from django.db import models


class MembershipChange(models.Model):
    """What was done to a membership, by hand or by a file: when, by whom, why, and what stood before and after.

    Rows are only added. A row hangs on the association and names the membership by its row number, so that it outlives
    one that is removed.
    """

    association = models.ForeignKey("riders.Association", on_delete=models.CASCADE, related_name="membership_changes")
    membership = models.BigIntegerField()
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        ordering = ["association", "-id"]
