from __future__ import annotations

from django.db import models
from django.db.models import Q


class TableChange(models.Model):
    """One thing written at the judge's table that has arrived: sent again under the same id, it changes nothing.

    The row is written in the transaction of its effect. ``device_time`` is what the clock of the device said, which may
    be wrong; the order is that of the rows. Rows are only ever added.
    """

    change_id = models.CharField(max_length=40)
    entry = models.ForeignKey("competitions.Entry", on_delete=models.CASCADE, related_name="+")
    seat = models.ForeignKey("competitions.PanelSeat", on_delete=models.CASCADE, related_name="+")
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    field = models.CharField(max_length=60)
    value = models.JSONField(null=True)
    device_time = models.CharField(max_length=40, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["by", "change_id"], name="table_change_once")]


class PanelShare(models.Model):
    """A judge's own marks beside the panel's, opened by that judge to whoever has a link, or to one account.

    Of a link only the digest is kept. A share that is taken back stays as a row, with the moment from which nobody
    sees anything through it.
    """

    seat = models.ForeignKey("competitions.PanelSeat", on_delete=models.CASCADE, related_name="shares")
    by = models.ForeignKey("riders.User", on_delete=models.CASCADE, related_name="panel_shares")
    account = models.ForeignKey(
        "riders.User", on_delete=models.CASCADE, null=True, blank=True, related_name="panels_shared_with"
    )
    digest = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(account__isnull=True) ^ Q(digest=""), name="panel_share_by_link_or_to_account"
            ),
            models.UniqueConstraint(fields=["digest"], condition=~Q(digest=""), name="panel_share_link_once"),
            models.UniqueConstraint(
                fields=["seat", "by", "account"], condition=Q(revoked_at=None), name="panel_share_account_once"
            ),
        ]
