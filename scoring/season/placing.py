"""Places in each table: by value, ties split in the scheme's order, what remains equal shared; then ``after``."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from scoring.season.afterwards import by_group, ranked, rows_out
from scoring.season.rows import GroupKey, Row, group_order
from scoring.season.scheme import Scheme

__all__ = ["place_rows"]


def place_rows(scheme: Scheme, rows: Iterable[Row]) -> tuple[tuple[GroupKey, tuple[Row, ...]], ...]:
    """Rank rows of all units and put them in the order of ``standings/1``; earlier places in them are forgotten.

    Qualified units come first by place (1, 2, 2, 4), then qualified ones that ``after`` takes out of the ranking, then
    those not yet qualified by value, equal ones by unit. Rows worked out for touched units only can be merged with the
    rows kept from before and ranked here.
    """
    fresh = [replace(row, placing=None, shared=False, note="") for row in rows]
    out = rows_out(scheme.after, fresh)
    noted = [_noted(scheme, row, out.get((row.group, row.unit), "")) for row in fresh]
    groups = by_group(noted)
    return tuple((group, _table(scheme, groups[group])) for group in sorted(groups, key=group_order))


def _noted(scheme: Scheme, row: Row, note: str) -> Row:
    """Note why a row is out; where there are no places to tell it, it does not count as qualified either."""
    if not note:
        return row
    return replace(row, note=note, qualified=scheme.mode == "rank", tier=None)


def _table(scheme: Scheme, rows: list[Row]) -> tuple[Row, ...]:
    placed = []
    if scheme.mode == "rank":
        place = 1
        for sharing in ranked(row for row in rows if row.qualified and not row.note):
            placed += [replace(row, placing=place, shared=len(sharing) > 1) for row in sharing]
            place += len(sharing)
    names = {row.unit for row in placed}
    others = sorted((row for row in rows if row.unit not in names), key=_unplaced_key)
    return (*placed, *others)


def _unplaced_key(row: Row) -> tuple[object, ...]:
    merit = -row.merit if row.merit is not None else 0
    return not row.qualified, row.tier_rank if row.qualified else 0, row.merit is None, merit, row.unit_key()
