from __future__ import annotations

from django.db import models
from django.db.models import Q


class Score(models.Model):
    """One official score: a row of ``scores/1``. A ride before several judges is one score.

    ``key`` names its origin, so that posting twice changes nothing. Text fields hold exact decimals as published;
    empty or null means unknown, and a rule that needs an unknown value does not count the score.
    """

    class Source(models.TextChoices):
        CLASS = "class", "a class run here"
        IMPORT = "import", "imported"

    test_title = competition_title = ""
    """Set by :func:`riders.selectors.titles.give_titles` where a score is shown; empty where only the id is known."""

    key = models.CharField(max_length=120, unique=True)
    source = models.CharField(max_length=6, choices=Source.choices)
    pair = models.ForeignKey("riders.Pair", on_delete=models.PROTECT, related_name="scores")
    division = models.CharField(max_length=60, blank=True)
    level = models.CharField(max_length=60, blank=True)
    test = models.CharField(max_length=120, blank=True)
    highest_of_level = models.BooleanField(null=True)
    kind = models.CharField(max_length=20, blank=True)
    date = models.DateField()
    competition = models.CharField(max_length=120)
    class_name = models.CharField(max_length=120, blank=True)
    judges = models.JSONField(default=list)
    percentage = models.CharField(max_length=20, blank=True)
    collectives = models.CharField(max_length=20, blank=True)
    placing = models.PositiveIntegerField(null=True)
    starters = models.PositiveIntegerField(null=True)
    status = models.CharField(max_length=12)
    hors_concours = models.BooleanField(null=True)
    recognised = models.BooleanField(null=True)
    member = models.BooleanField(null=True)
    region = models.CharField(max_length=60, blank=True)
    team = models.CharField(max_length=80, blank=True)
    venue = models.CharField(max_length=160, blank=True)
    owner = models.CharField(max_length=120, blank=True)
    horse_age = models.PositiveSmallIntegerField(null=True)
    posted_at = models.DateTimeField()
    retracted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-date", "competition", "class_name", "key"]
        indexes = [
            models.Index(fields=["date"], condition=Q(retracted_at__isnull=True), name="score_in_force_by_date"),
        ]

    def __str__(self) -> str:
        return f"{self.key}: {self.percentage or self.status}"


class ScoreChange(models.Model):
    """What was done to a score, when, by whom, why and what stood there before. Rows are only ever added."""

    class Action(models.TextChoices):
        POSTED = "posted", "posted"
        CORRECTED = "corrected", "corrected"
        RETRACTED = "retracted", "retracted"

    score = models.ForeignKey(Score, on_delete=models.PROTECT, related_name="changes")
    action = models.CharField(max_length=9, choices=Action.choices)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField(null=True)

    class Meta:
        ordering = ["score", "id"]
