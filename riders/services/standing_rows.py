"""Rows of the standings on their way from a computation to the database."""

from __future__ import annotations

import json
from array import array
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, NamedTuple, cast

from django.db import connection

from riders.models import Pair, StandingRow, StandingTable
from riders.ranks import Unrankable, figure, name_order, ordinal_rank, place_rank, rest_rank
from riders.selectors.ledger import SeasonLedger
from scoring import season as season_rules
from scoring.season import GroupKey, Row, Scheme
from scoring.season.rows import plain_value

_JSON = {"requirements", "explanations", "ranking"}


class Worked(NamedTuple):
    """What a computation says of one unit in one table, as it is stored; texts of JSON are ready to be written."""

    group: GroupKey
    rank: bytes
    name_order: bytes
    unit: str
    pair_id: int | None
    value: str
    qualified: bool
    tier: str
    note: str
    requirements: str
    counted: bytes
    dropped: bytes
    ineligible: int
    explanations: str | None = None
    ranking: str | None = None


_COLUMNS = Worked._fields[1:]
"""The columns in which a row is stored, besides its table."""


def keeps_explanations(scheme: Scheme) -> bool:
    """Tell whether a row keeps why its scores count or not: working it out again would take the whole ledger."""
    return scheme.looks_at_others


def keeps_ranking(scheme: Scheme) -> bool:
    """Tell whether a row keeps the figures behind its rank: ``after`` compares units, or as for explanations."""
    return bool(scheme.after) or keeps_explanations(scheme)


def work_rows(scheme: Scheme, rows: Iterable[Row], *, ledger: SeasonLedger) -> list[Worked]:
    """Return rows of the scoring core as they are stored; where their figures make no ranks, they are numbered."""
    rows = [plain_row(row) for row in rows]
    try:
        ranks = [rank_of(scheme, row) for row in rows]
    except Unrankable:
        ranks = _ordinals(rows)
    return [_worked(scheme, row, rank, ledger) for row, rank in zip(rows, ranks, strict=True)]


def rank_of(scheme: Scheme, row: Row) -> bytes:
    """Return the rank of a row; raises :class:`riders.ranks.Unrankable`."""
    merit = None if row.merit is None else figure(row.merit.numerator, row.merit.denominator)
    if scheme.mode != "rank" or not row.qualified or row.note:
        return rest_rank(merit, qualified=row.qualified, tier_rank=row.tier_rank if row.qualified else 0)
    ties = ([figure(part.numerator, part.denominator) for part in key] for key in row.tie_keys)
    return place_rank(merit or figure(0), ties)


def _ordinals(rows: Sequence[Row]) -> list[bytes]:
    """Give numbers to rows that stand table by table in their order; those that share a place share the number."""
    ranks: list[bytes] = []
    for position, row in enumerate(rows):
        before = rows[position - 1] if position else None
        same = before is not None and row.placing is not None and row.placing == before.placing
        shares = before is not None and same and row.group == before.group
        ranks.append(ranks[-1] if shares else ordinal_rank(position, placed=row.placing is not None))
    return ranks


def _worked(scheme: Scheme, row: Row, rank: bytes, ledger: SeasonLedger) -> Worked:
    explained = [list(explanation) for explanation in row.explanations]
    return Worked(
        group=row.group,
        rank=rank,
        name_order=name_order(row.unit),
        unit=row.unit,
        pair_id=ledger.pairs[row.unit] if scheme.unit == "pair" else None,
        value=row.value or "",
        qualified=row.qualified,
        tier=row.tier or "",
        note=row.note,
        requirements=json.dumps([met.as_dict() for met in row.requirements]),
        counted=packed(ledger.numbers[key] for key in row.counted),
        dropped=packed(ledger.numbers[key] for key in row.dropped),
        ineligible=len(explained) - len(row.counted) - len(row.dropped),
        explanations=json.dumps(explained) if keeps_explanations(scheme) else None,
        ranking=json.dumps(ranking_of(row)) if keeps_ranking(scheme) else None,
    )


def packed(numbers: Iterable[int]) -> bytes:
    """Write numbers of scores in rising order, eight bytes each, so that the same scores are the same bytes."""
    return array("q", sorted(numbers)).tobytes()


def plain_group(group: GroupKey) -> GroupKey:
    return tuple((field, plain_value(value)) for field, value in group)  # type: ignore[misc]


def stored_group(scheme: Scheme, group: Mapping[str, Any]) -> GroupKey:
    return tuple((field, group[field]) for field in scheme.group_by)


def ranking_of(row: Row) -> dict[str, Any]:
    """Return what a row is ranked by before ``after`` takes any out of the ranking."""
    return {
        "merit": None if row.merit is None else str(row.merit),
        "ties": [[str(part) for part in key] for key in row.tie_keys],
        "met": row.qualified or bool(row.note),
        "tier_rank": row.tier_rank,
        "about": season_rules.group_as_dict(row.about),
    }


def ranked_row(scheme: Scheme, *, unit: str, group: GroupKey, value: str, ranking: Mapping[str, Any]) -> Row:
    """Return a stored row as the scoring core ranks it; what it shows besides stays in the database."""
    reached = scheme.mode == "achieve" and ranking["met"]
    return Row(
        unit=unit,
        group=group,
        value=value or None,
        merit=None if ranking["merit"] is None else Fraction(ranking["merit"]),
        qualified=ranking["met"],
        tie_keys=tuple(tuple(Fraction(part) for part in key) for key in ranking["ties"]),
        tier=scheme.tiers[ranking["tier_rank"]].name if reached else None,
        tier_rank=ranking["tier_rank"],
        about=tuple(ranking["about"].items()),
    )


def plain_row(row: Row) -> Row:
    """Return a row with the values of its group, and of what ``after`` looks at, as they are stored."""
    return replace(row, group=plain_group(row.group), about=plain_group(row.about))


def unsaved_row(table: StandingTable, row: Worked, pairs: Mapping[int, Pair]) -> StandingRow:
    """Return a row to be shown only; what stands behind it is left out."""
    values = {name: getattr(row, name) for name in _COLUMNS if name not in _JSON and name != "pair_id"}
    pair = None if row.pair_id is None else pairs[row.pair_id]
    return StandingRow(table=table, pair=pair, requirements=json.loads(row.requirements), **values)


def write_rows(rows: Iterable[tuple[int, Worked]]) -> None:
    """Write rows, each with the number of its table, with as little between them and the database as there can be."""
    if connection.vendor == "postgresql":
        _copy_rows(rows)
        return
    marks = ", ".join(["%s"] * (len(_COLUMNS) + 1))
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {_TABLE} ({_quoted()}) VALUES ({marks})",  # noqa: S608 - names of our own columns
            cast("Any", ((table, *row[1:]) for table, row in rows)),  # any iterable will do
        )


def _copy_rows(rows: Iterable[tuple[int, Worked]]) -> None:
    with connection.cursor() as cursor, cursor.copy(f"COPY {_TABLE} ({_quoted()}) FROM STDIN") as copy:
        for table, row in rows:
            copy.write_row((table, *row[1:]))


_TABLE = StandingRow._meta.db_table  # noqa: SLF001 - the documented way to a table's name


def _quoted() -> str:
    return ", ".join(f'"{column}"' for column in ("table_id", *_COLUMNS))


STORED = _COLUMNS


def differ(stored: Mapping[str, Any], row: Worked) -> bool:
    """Tell whether a stored row, read as ``values(*STORED)``, says something else than the one worked out."""
    return any(_plain(stored[name]) != _read(name, getattr(row, name)) for name in _COLUMNS)


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value


def _read(name: str, value: Any) -> Any:
    return json.loads(value) if name in _JSON and value is not None else value
