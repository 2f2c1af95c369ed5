from __future__ import annotations

from django.db import models


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
