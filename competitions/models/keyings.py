from __future__ import annotations

from django.db import models


class SecondKeyingMode(models.TextChoices):
    """Which sheets of paper are keyed a second time by another person."""

    OFF = "off", "none"
    ALL = "all", "all sheets"
    CHOSEN = "chosen", "chosen sheets"


class SecondKeying(models.Model):
    """A sheet keyed from its paper again, by someone who has not seen the first keying. Rows are only ever added.

    ``read`` is what the paper says, as text by field (``mark.7``, ``errors`` ...; see ``selectors.keyings``): empty
    where it says nothing, absent where nobody asked. The last row of a sheet counts. ``first_version`` is that of the
    sheet at this moment.
    """

    sheet = models.ForeignKey("competitions.Sheet", on_delete=models.CASCADE, related_name="second_keyings")
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)
    first_version = models.PositiveIntegerField()
    read = models.JSONField(default=dict)

    class Meta:
        ordering = ["sheet", "id"]


class KeyingDecision(models.Model):
    """What the paper says where two keyings differ, and why that was decided. Rows are only ever added.

    ``first`` and ``second`` are what stood side by side, ``value`` what was decided; the last row of a field counts
    as long as its keying does.
    """

    keying = models.ForeignKey(SecondKeying, on_delete=models.CASCADE, related_name="decisions")
    field = models.CharField(max_length=60)
    first = models.TextField(blank=True)
    second = models.TextField(blank=True)
    value = models.TextField(blank=True)
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["keying", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(reason=""), name="keying_decision_has_a_reason"),
        ]


class SheetChoice(models.Model):
    """A sheet chosen to be keyed twice, or no longer. Rows are only ever added; the last of a place counts."""

    entry = models.ForeignKey("competitions.Entry", on_delete=models.CASCADE, related_name="sheet_choices")
    seat = models.ForeignKey("competitions.PanelSeat", on_delete=models.CASCADE, related_name="sheet_choices")
    chosen = models.BooleanField()
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["entry", "seat", "id"]


class FirstKeyingSeen(models.Model):
    """Someone opened the first keying of a sheet that waits for its second, and so cannot be the second keyer."""

    sheet = models.ForeignKey("competitions.Sheet", on_delete=models.CASCADE, related_name="first_keying_seen")
    by = models.ForeignKey("riders.User", on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["sheet", "id"]
