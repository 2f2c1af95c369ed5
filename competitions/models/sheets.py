from __future__ import annotations

from django.db import models


class Sheet(models.Model):
    """What one seat writes about one entry, as one row, so that one conditional update saves it.

    ``marks`` maps an item's id to its mark as a whole number of tenths (65 is 6.5); an item without a mark is absent.
    ``remarks`` maps an item's id to the judge's words. ``given_result`` holds ``{"points": "386"}`` or
    ``{"percentage": "67.273"}`` where only the result is known. ``typed_total`` is the total on the paper sheet,
    as typed, to be compared with ours. ``substitutes`` lists items whose mark the office put in.

    Where the ride was seen in a recording, ``times`` maps an item's id to the moment at which it was marked,
    ``remark_times`` to the moment of its remark's first letter, and ``overall_time`` is that of the overall remarks:
    whole milliseconds from the beginning of the recording. ``limited`` lists items of which the camera showed too
    little. None of these changes a result.
    """

    entry = models.ForeignKey("competitions.Entry", on_delete=models.CASCADE, related_name="sheets")
    seat = models.ForeignKey("competitions.PanelSeat", on_delete=models.PROTECT, related_name="sheets")
    marks = models.JSONField(default=dict)
    remarks = models.JSONField(default=dict)
    overall_remarks = models.TextField(blank=True)
    given_result = models.JSONField(null=True, blank=True)
    typed_total = models.CharField(max_length=20, blank=True)
    substitutes = models.JSONField(default=list, blank=True)
    times = models.JSONField(default=dict, blank=True)
    remark_times = models.JSONField(default=dict, blank=True)
    overall_time = models.PositiveIntegerField(null=True, blank=True)
    limited = models.JSONField(default=list, blank=True)
    signed = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(null=True, blank=True)
    changed_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["entry", "seat__order", "id"]
        constraints = [models.UniqueConstraint(fields=["entry", "seat"], name="sheet_once")]


class SheetRevision(models.Model):
    """A sheet after one saving: who, when, from where, why, and the whole before. Rows are only ever added."""

    class Source(models.TextChoices):
        DESK = "desk", "office desk"
        TABLE = "table", "judge's table"
        API = "api", "API"
        IMPORT = "import", "import"

    sheet = models.ForeignKey(Sheet, on_delete=models.CASCADE, related_name="revisions")
    version = models.PositiveIntegerField()
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    source = models.CharField(max_length=6, choices=Source.choices)
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField()
    after = models.JSONField()

    class Meta:
        ordering = ["sheet", "version"]
        constraints = [models.UniqueConstraint(fields=["sheet", "version"], name="sheet_revision_once")]
