from __future__ import annotations

from django.db import models


class Entry(models.Model):
    """A pair in a class, with a number.

    ``entered`` is the status before the ride; the others are those of ``class/1``. Deductions are objects as in
    ``class/1``. ``errors`` counts errors of course.
    """

    class Status(models.TextChoices):
        ENTERED = "entered", "entered"
        RUNNING = "running", "running"
        COMPLETED = "completed", "completed"
        ELIMINATED = "eliminated", "eliminated"
        RETIRED = "retired", "retired"
        WITHDRAWN = "withdrawn", "withdrawn"
        NO_SHOW = "no-show", "no-show"

    competition_class = models.ForeignKey(
        "competitions.CompetitionClass", on_delete=models.CASCADE, related_name="entries"
    )
    number = models.CharField(max_length=10)
    pair = models.ForeignKey("riders.Pair", on_delete=models.PROTECT, related_name="entries")
    order = models.PositiveIntegerField(null=True, blank=True, help_text="Position in the running order, from 1.")
    ride_time = models.DateTimeField(null=True, blank=True)
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.ENTERED)
    status_reason = models.CharField(max_length=300, blank=True)
    hors_concours = models.BooleanField(default=False)
    team = models.CharField(max_length=80, blank=True)
    errors = models.PositiveSmallIntegerField(default=0)
    deductions = models.JSONField(default=list, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["competition_class", "order", "number", "id"]
        constraints = [
            models.UniqueConstraint(fields=["competition_class", "number"], name="entry_number_once_in_a_class"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.pair}"


class EntryChange(models.Model):
    """What was changed about an entry, by whom, when, why, and what stood there before. Rows are only ever added."""

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="changes")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField()
    after = models.JSONField()

    class Meta:
        ordering = ["entry", "id"]
