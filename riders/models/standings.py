from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from riders.models.fields import DocumentField


class StandingTable(models.Model):
    """One table of a season's standings: a group of the scheme, with how many rows it has.

    ``number`` counts the tables of a season from 0. Tables that are not ``shown`` are being written, or are on their
    way out: a rebuild writes beside what is shown, and takes its place whole.
    """

    season = models.ForeignKey("riders.Season", on_delete=models.CASCADE, related_name="tables")
    number = models.PositiveIntegerField()
    group = DocumentField(default=dict)
    size = models.PositiveIntegerField(default=0, help_text="How many rows it has.")
    shown = models.BooleanField(default=False)

    class Meta:
        ordering = ["season", "number", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["season", "number"], condition=Q(shown=True), name="standing_table_shown_once"
            ),
        ]


class _ShownRows(models.Manager["StandingRow"]):
    def get_queryset(self) -> models.QuerySet[StandingRow]:
        return super().get_queryset().filter(table__shown=True)


class StandingRow(models.Model):
    """One unit in one table of a season's standings, as computed; rebuilt, never edited.

    A place is not stored: when one unit's figures change, those of all others would have to be written. ``rank`` holds
    what places are decided by, and ``name_order`` the order among equals, as bytes that sort as the rows stand (see
    :mod:`riders.ranks`); the place is one more than the rows of the table with a lower rank. ``counted`` and
    ``dropped`` hold the numbers of scores, eight bytes each; ``ineligible`` says how many others the unit has here.

    Why each score counts or does not is worked out when someone asks (:mod:`riders.selectors.details`), except where
    that would take the whole ledger: there ``explanations`` keeps it. ``ranking`` keeps the figures behind the rank
    for schemes whose ``after`` steps compare units.
    """

    table = models.ForeignKey(StandingTable, on_delete=models.CASCADE, related_name="rows", db_index=False)
    rank = models.BinaryField()
    name_order = models.BinaryField()
    unit = models.CharField(max_length=120)
    pair = models.ForeignKey("riders.Pair", on_delete=models.CASCADE, null=True, related_name="standing_rows")
    value = models.CharField(max_length=30, blank=True)
    qualified = models.BooleanField()
    tier = models.TextField(blank=True)
    note = models.TextField(blank=True, help_text="Why the scheme takes the unit out of the ranking.")
    requirements = DocumentField(default=list)
    counted = models.BinaryField(default=bytes)
    dropped = models.BinaryField(default=bytes)
    ineligible = models.PositiveIntegerField(default=0)
    explanations = models.JSONField(null=True)
    ranking = models.JSONField(null=True)

    every: ClassVar[models.Manager[Any]] = models.Manager()
    objects: ClassVar[models.Manager[Any]] = _ShownRows()

    class Meta:
        default_manager_name = "every"
        ordering = ["table__season", "table__number", "rank", "name_order"]
        indexes = [models.Index(fields=["table", "rank", "name_order"], name="standing_row_in_its_table")]
        constraints = [models.UniqueConstraint(fields=["table", "unit"], name="standing_row_once")]
