"""Rows of the standings with their places, which follow from how many rows of the table rank before them."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Count, Exists, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from riders.models import Pair, Score, Season, StandingRow, StandingTable
from riders.ranks import is_placed
from scoring.season import Scheme
from scoring.season.ledger import natural_key

_AT_ONCE = 500
_NOT_SHOWN = ("explanations", "ranking")


@dataclass(frozen=True, slots=True)
class PlacedRow:
    """One row with its place: None while it has none; ``shared`` where others have the same."""

    row: StandingRow
    placing: int | None
    shared: bool

    @property
    def pk(self) -> int:
        return self.row.pk

    @property
    def table(self) -> int:
        """The number of its table, from 0."""
        return self.row.table.number

    @property
    def group(self) -> dict[str, Any]:
        group: dict[str, Any] = self.row.table.group
        return group

    @property
    def season(self) -> Season:
        return self.row.table.season

    @property
    def season_id(self) -> int:
        return self.row.table.season_id

    @property
    def unit(self) -> str:
        return self.row.unit

    @property
    def pair(self) -> Pair | None:
        return self.row.pair

    @property
    def pair_id(self) -> int | None:
        return self.row.pair_id

    @property
    def value(self) -> str:
        return self.row.value

    @property
    def qualified(self) -> bool:
        return self.row.qualified

    @property
    def tier(self) -> str:
        return self.row.tier

    @property
    def note(self) -> str:
        return self.row.note

    @property
    def requirements(self) -> list[dict[str, Any]]:
        requirements: list[dict[str, Any]] = self.row.requirements
        return requirements

    @property
    def counted(self) -> int:
        """How many scores count."""
        return len(self.row.counted) // 8

    @property
    def outcomes(self) -> dict[str, int]:
        """How many of the unit's scores are counted, dropped and not eligible."""
        return {
            "counted": self.counted,
            "dropped": len(self.row.dropped) // 8,
            "not eligible": self.row.ineligible,
        }


def placed_rows(rows: QuerySet[StandingRow]) -> list[PlacedRow]:
    """Return rows of any tables with their places, in one query."""
    table = StandingRow.every.filter(table=OuterRef("table"))
    better = table.filter(rank__lt=OuterRef("rank")).order_by().values("table").annotate(rows=Count("pk"))
    same = table.filter(rank=OuterRef("rank")).exclude(pk=OuterRef("pk"))
    found = rows.select_related("table__season", "pair__rider", "pair__horse").annotate(
        better=Coalesce(Subquery(better.values("rows"), output_field=IntegerField()), 0), together=Exists(same)
    )
    return [_placed(row, row.better + 1, shared=row.together) for row in found.defer(*_NOT_SHOWN)]


def rows_from(table: StandingTable, *, first: int, number: int) -> list[PlacedRow]:
    """Return ``number`` rows of a table from the one at ``first`` (from 0) on, in their order."""
    start = position = max(first - 1, 0)
    placed: list[PlacedRow] = []
    # The row before and the row after are looked at too: they may share a place with those that are shown.
    for rank, sharing in groupby(_in_order(table)[start : first + number + 1], key=_rank):
        rows = list(sharing)
        above = position
        if position == start > 0:
            above = StandingRow.every.filter(table=table, rank__lt=rank).count()
        placed += [_placed(row, above + 1, shared=len(rows) > 1) for row in rows]
        position += len(rows)
    return placed[first - start : first - start + number]


def rows_one_by_one(table: StandingTable) -> Iterator[PlacedRow]:
    """Yield every row of a table in its order, a few at a time from the database."""
    rows = _in_order(table).iterator(chunk_size=_AT_ONCE)
    before, row, place = b"", next(rows, None), 1
    position = 0
    while row is not None:
        position += 1
        rank, after = _rank(row), next(rows, None)
        if rank != before:
            place = position
        yield _placed(row, place, shared=rank == before or (after is not None and _rank(after) == rank))
        before, row = rank, after


def _rank(row: StandingRow) -> bytes:
    return bytes(row.rank)


def _placed(row: StandingRow, place: int, *, shared: bool) -> PlacedRow:
    has_place = is_placed(_rank(row))
    return PlacedRow(row, place if has_place else None, has_place and shared)


def _in_order(table: StandingTable) -> QuerySet[StandingRow]:
    rows = StandingRow.every.filter(table=table).select_related("table", "pair__rider", "pair__horse")
    return rows.defer(*_NOT_SHOWN).order_by("rank", "name_order")


def keys_of_scores(rows: Iterable[StandingRow]) -> dict[int, str]:
    """Return the keys of the scores that rows count or drop, by the numbers that the rows keep."""
    numbers = sorted({number for row in rows for number in (*numbers_in(row.counted), *numbers_in(row.dropped))})
    keys: dict[int, str] = {}
    for start in range(0, len(numbers), _AT_ONCE):
        keys |= dict(Score.objects.filter(pk__in=numbers[start : start + _AT_ONCE]).values_list("pk", "key"))
    return keys


def row_document(placed: PlacedRow, *, scheme: Scheme, keys: Mapping[int, str]) -> dict[str, Any]:
    """Return a row as it stands in ``standings/1``."""
    row = placed.row
    document = {
        "unit": row.unit,
        "placing": placed.placing,
        "shared": placed.shared,
        "value": row.value or None,
        "qualified": row.qualified,
        "counted": _named(row.counted, keys),
        "dropped": _named(row.dropped, keys),
        "requirements": row.requirements,
    }
    return document | {"tier": row.tier or None} if scheme.mode == "achieve" else document


def _named(packed: bytes | memoryview, keys: Mapping[int, str]) -> list[str]:
    return sorted((keys[number] for number in numbers_in(packed)), key=natural_key)


def numbers_in(packed: bytes | memoryview) -> list[int]:
    """Return the numbers of scores that a row keeps."""
    return array("q", bytes(packed)).tolist()
