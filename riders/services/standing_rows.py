"""Rows of the standings on their way between the scoring core and the database."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from riders.models import Pair, Season, StandingRow
from scoring import season as season_rules
from scoring.season import GroupKey, Row, Scheme

Placed = Sequence[tuple[GroupKey, Sequence[Row]]]
"""Tables in their order, each with its rows in theirs, as the scoring core places them."""

_WRITTEN_AT_ONCE = 500


def plain_row(scheme: Scheme, row: Row) -> Row:
    """Return the row with the values of its group and of what ``after`` looks at as they are stored."""
    return replace(
        row,
        group=group_key(scheme, _plain(row.group)),
        about=tuple(_plain(row.about).items()),
    )


def _plain(values: GroupKey) -> dict[str, Any]:
    return season_rules.group_as_dict(values)


def group_key(scheme: Scheme, stored: Mapping[str, Any]) -> GroupKey:
    """Return a stored group with its fields in the order of the scheme; a database may keep them in another."""
    return tuple((field, stored[field]) for field in scheme.group_by)


def ranking_of(scheme: Scheme, row: Row) -> dict[str, Any]:
    """Return what the row is ranked by, before ``after`` took it out of the ranking."""
    tier = row.tier
    if row.note and scheme.mode == "achieve":
        tier = scheme.tiers[row.tier_rank].name
    return {
        "merit": None if row.merit is None else str(row.merit),
        "ties": [[str(part) for part in key] for key in row.tie_keys],
        "met": row.qualified or bool(row.note),
        "tier": tier,
        "rank": row.tier_rank,
        "about": season_rules.group_as_dict(row.about),
        "note": row.note,
    }


def ranked_row(*, unit: str, group: GroupKey, value: str, ranking: Mapping[str, Any]) -> Row:
    """Return a stored row as the scoring core ranks it; what its document shows besides stays in the database."""
    return Row(
        unit=unit,
        group=group,
        value=value or None,
        merit=None if ranking["merit"] is None else Fraction(ranking["merit"]),
        qualified=ranking["met"],
        tie_keys=tuple(tuple(Fraction(part) for part in key) for key in ranking["ties"]),
        tier=ranking["tier"],
        tier_rank=ranking["rank"],
        about=tuple(ranking["about"].items()),
    )


def new_row(season: Season, scheme: Scheme, row: Row, *, table: int, position: int, pair: int | None) -> StandingRow:
    document = row.as_dict(with_tier=scheme.mode == "achieve")
    return StandingRow(
        season=season,
        table=table,
        position=position,
        group=season_rules.group_as_dict(row.group),
        unit=row.unit,
        pair_id=pair,
        placing=row.placing,
        shared=row.shared,
        value=row.value or "",
        qualified=row.qualified,
        document=document,
        explanations=[list(explanation) for explanation in row.explanations],
        ranking=ranking_of(scheme, row),
    )


def new_rows(season: Season, scheme: Scheme, placed: Placed) -> Iterator[StandingRow]:
    """Yield a row for the database for every row placed."""
    pairs = pairs_of(scheme, sorted({row.unit for _, rows in placed for row in rows}))
    for table, (_, rows) in enumerate(placed):
        for position, row in enumerate(rows):
            yield new_row(season, scheme, row, table=table, position=position, pair=pairs.get(row.unit))


def pairs_of(scheme: Scheme, units: Sequence[str]) -> dict[str, int]:
    """Return the pairs that units are, where the scheme ranks pairs."""
    if scheme.unit != "pair":
        return {}
    found: dict[str, int] = {}
    for start in range(0, len(units), _WRITTEN_AT_ONCE):
        part = units[start : start + _WRITTEN_AT_ONCE]
        found |= dict(Pair.objects.filter(key__in=part).values_list("key", "pk"))
    return found


def write_rows(rows: Iterable[StandingRow]) -> None:
    StandingRow.objects.bulk_create(rows, batch_size=_WRITTEN_AT_ONCE)
