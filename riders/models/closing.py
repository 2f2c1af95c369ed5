from __future__ import annotations

from django.db import models
from django.db.models import Q

from riders.models.fields import DocumentField


class SeasonEdition(models.Model):
    """The lists of a season as they were frozen when it was closed. A row is never changed; closing again adds one.

    ``head`` is what stands above every list: association, season, rule in sentences, the tables with how many rows,
    placed and qualified units each has. ``scores`` is the ledger that was counted, as a ``scores/1`` CSV compressed by
    gzip: later changes of the ledger are told from it. ``digest`` is over head, rows and scores, and stands on every
    document of the edition.
    """

    season = models.ForeignKey("riders.Season", on_delete=models.PROTECT, related_name="editions")
    number = models.PositiveIntegerField(help_text="Counts the closings of the season from 1.")
    scheme = models.ForeignKey("riders.Scheme", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    head = DocumentField()
    scores = models.BinaryField()
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["season", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["season", "number"], name="edition_once"),
            models.CheckConstraint(condition=Q(number__gte=1), name="edition_counts_from_1"),
        ]

    def __str__(self) -> str:
        return f"edition {self.number}"


class EditionRow(models.Model):
    """One unit in one table of an edition: its place, its names, what it misses in words, why each score counts.

    ``document`` is what every list and page of the closed season shows of it, see :mod:`riders.services.editions`.
    """

    edition = models.ForeignKey(SeasonEdition, on_delete=models.PROTECT, related_name="rows")
    table = models.PositiveIntegerField()
    position = models.PositiveIntegerField()
    unit = models.CharField(max_length=120)
    document = DocumentField()

    class Meta:
        ordering = ["edition", "table", "position"]
        constraints = [
            models.UniqueConstraint(fields=["edition", "table", "position"], name="edition_row_once"),
            models.UniqueConstraint(fields=["edition", "unit", "table"], name="edition_row_of_a_unit_once"),
        ]


class SeasonChange(models.Model):
    """That a season was closed or reopened, when, by whom and why. Rows are only ever added."""

    class Action(models.TextChoices):
        CLOSED = "closed", "closed"
        REOPENED = "reopened", "reopened"

    season = models.ForeignKey("riders.Season", on_delete=models.PROTECT, related_name="changes")
    action = models.CharField(max_length=8, choices=Action.choices)
    at = models.DateTimeField()
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300)
    edition = models.ForeignKey(
        SeasonEdition,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="What closing made; of a reopening, the edition that is no longer in force.",
    )

    class Meta:
        ordering = ["season", "-id"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="season_change_has_a_reason")]
