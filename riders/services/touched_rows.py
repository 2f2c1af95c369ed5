"""Putting the rows of some units into the stored tables of a season, and writing only what has changed."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from django.db.models import F

from riders.models import Season, StandingRow, StandingTable
from riders.ranks import is_ordinal
from riders.services.compared_rows import Changed, compare_again
from riders.services.standing_rows import STORED, Worked, differ, stored_group, write_rows
from scoring import season as season_rules
from scoring.season import GroupKey, Scheme
from scoring.season.rows import group_order

_APART = 1_000_000
_Stored = dict[str, Any]


class RankedAsAWhole(Exception):  # noqa: N818 - no fault: the caller takes the long way
    """The ranks of this season are numbers that are given to all rows at once."""


def merge_rows(season: Season, scheme: Scheme, fresh: Sequence[Worked], *, units: frozenset[str]) -> None:
    """Put the fresh rows of ``units`` in the place of their stored ones, or raise :class:`RankedAsAWhole`."""
    tables = {
        stored_group(scheme, table.group): table for table in StandingTable.objects.filter(season=season, shown=True)
    }
    if any(is_ordinal(row.rank) for row in fresh) or _holds_ordinals(tables.values()):
        raise RankedAsAWhole
    for row in fresh:
        if row.group not in tables:
            group = season_rules.group_as_dict(row.group)
            tables[row.group] = StandingTable(season=season, number=_APART + len(tables), group=group, shown=True)
            tables[row.group].save()
    own = StandingRow.every.filter(table__in=[table.pk for table in tables.values()], unit__in=units)
    before = {(row["table_id"], row["unit"]): row for row in own.values("pk", "table_id", *STORED)}
    wanted = {(tables[row.group].pk, row.unit): row for row in fresh}
    gone = [row["pk"] for key, row in before.items() if key not in wanted or differ(row, wanted[key])]
    new = [(key[0], row) for key, row in wanted.items() if key not in before or differ(before[key], row)]
    if not gone and not new:
        return
    StandingRow.every.filter(pk__in=gone).delete()
    write_rows(new)
    _count(tables, Counter(table for table, _ in wanted), Counter(table for table, _ in before))
    if scheme.after:
        held = [(key, row["ranking"]) for key, row in before.items()]
        held += [(key, json.loads(row.ranking or "{}")) for key, row in wanted.items()]
        changed = [Changed(*key, ranking["about"]) for key, ranking in held]
        compare_again(scheme, {one.pk: key for key, one in tables.items() if one.pk}, changed)
    _number(tables)


def _holds_ordinals(tables: Collection[StandingTable]) -> bool:
    ranks = StandingRow.every.filter(table__in=[table.pk for table in tables]).order_by().values_list("rank", flat=True)
    return any(is_ordinal(bytes(rank)) for rank in ranks[:1])


def _count(tables: Mapping[GroupKey, StandingTable], now: Counter[int], before: Counter[int]) -> None:
    """Keep the sizes of the tables, and remove those that have no row any more."""
    for table in tables.values():
        change = now[table.pk] - before[table.pk]
        if change:
            StandingTable.objects.filter(pk=table.pk).update(size=F("size") + change)
            table.size += change
        if not table.size:
            table.delete()


def _number(tables: Mapping[GroupKey, StandingTable]) -> None:
    """Give tables numbers in the order of their groups, in two steps: no two bear the same meanwhile."""
    kept = [table for group, table in sorted(tables.items(), key=lambda one: group_order(one[0])) if table.pk]
    moved = {table.pk: number for number, table in enumerate(kept) if table.number != number}
    StandingTable.objects.filter(pk__in=list(moved)).update(number=F("number") + 2 * _APART)
    for pk, number in moved.items():
        StandingTable.objects.filter(pk=pk).update(number=number)
