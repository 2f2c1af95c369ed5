"""The stage ``after`` on stored rows: of those, only the ones are read that a change of some units can move.

Steps that look at a unit's own rows, or at units of one rider or owner, are followed from the changed rows to all that
they are bound to. Places and a least number of units look at a whole table, of which the rows at the edge are enough.
For any other steps every row is read that meets the requirements: no step looks at the others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from itertools import takewhile
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Q, QuerySet

from riders.models import StandingRow
from riders.ranks import FIRST_NOT_QUALIFIED, FIRST_WITHOUT_A_PLACE
from riders.services.standing_rows import rank_of, ranked_row
from scoring.season import GroupKey, Row, Scheme, place_rows
from scoring.season.afterwards import After, Exclude, KeepHighest, MinimumUnits, OnePer, Places

_Stored = dict[str, Any]
_READ = ("pk", "table_id", "unit", "value", "note", "qualified", "tier", "ranking")
_OF_THE_PAIR = {"rider": "pair__rider__listed", "horse": "pair__horse__listed"}
_MOST_BOUND = 5_000


class Changed(NamedTuple):
    """A row that stood in a table before, or stands there now, and the fields of it that ``after`` looks at."""

    table: int
    unit: str
    about: Mapping[str, Any]


def compare_again(scheme: Scheme, groups: Mapping[int, GroupKey], changed: Iterable[Changed]) -> None:
    """Apply ``after`` to tables, given by their numbers, and write what it takes out of the ranking or lets in again.

    The changed rows stand there as they are ranked before ``after``; all others as they were left the last time.
    """
    changed = list(changed)
    tables = set(groups) if scheme.ranks_across_tables else {one.table for one in changed} & set(groups)
    rows = StandingRow.every.filter(Q(qualified=True) | ~Q(note=""), table__in=tables)
    some = _rows_that_matter(scheme, rows, changed)
    placed = [] if some is None else _placed(scheme, groups, some)
    if some is None or _too_few(scheme, placed):
        placed = _placed(scheme, groups, _read(rows))
    _write_moved(scheme, placed)


def _read(rows: QuerySet[StandingRow]) -> dict[int, _Stored]:
    return {row["pk"]: row for row in rows.order_by("pk").values(*_READ)}


def _rows_that_matter(
    scheme: Scheme, rows: QuerySet[StandingRow], changed: Collection[Changed]
) -> dict[int, _Stored] | None:
    """Return the rows among which ``after`` comes to the same as among all; None where that cannot be told."""
    binding = tuple(takewhile(_binds_units, scheme.after))
    rest = scheme.after[len(binding) :]
    if any(isinstance(step, KeepHighest | OnePer | Exclude) for step in rest) or len({*map(type, rest)}) < len(rest):
        return None
    found = _bound(scheme, binding, rows, changed)
    if found is None or not rest:
        return found
    counts = Counter([row["table_id"] for row in found.values()] + [one.table for one in changed])
    for table in counts:
        edge = _edge(scheme, rest, rows.filter(table=table).exclude(pk__in=list(found)), counts[table])
        if edge is None:
            return None
        found |= edge
    return found


def _binds_units(step: After) -> bool:
    return isinstance(step, Exclude | OnePer) or (isinstance(step, KeepHighest) and not step.winners_only)


def _bound(
    scheme: Scheme, steps: Collection[After], rows: QuerySet[StandingRow], changed: Collection[Changed]
) -> dict[int, _Stored] | None:
    """Follow the steps from the changed rows to every row that one of them may look at together with these."""
    fields = [step.field for step in steps if isinstance(step, OnePer)]
    whole_units = any(isinstance(step, KeepHighest) for step in steps)
    if any("__" in name for name in fields):
        return None
    links: set[tuple[str, Any]] = {("unit", one.unit) for one in changed}
    links |= {(name, one.about.get(name)) for name in fields for one in changed}
    followed: set[tuple[str, Any]] = set()
    found: dict[int, _Stored] = {}
    while new := {link for link in links - followed if link[1] is not None}:
        if len(new) > _MOST_BOUND:
            return None
        wanted = Q(pk__in=[])
        for name in ("unit", *fields):
            wanted |= Q(**{f"{_lookup(scheme, name)}__in": [value for link, value in new if link == name]})
        fresh = [row for row in _read(rows.filter(wanted)).values() if row["pk"] not in found]
        found |= {row["pk"]: row for row in fresh}
        followed |= new
        links = {(name, row["ranking"]["about"].get(name)) for name in fields for row in fresh}
        if whole_units:
            links |= {("unit", row["unit"]) for row in fresh}
    return found


def _lookup(scheme: Scheme, name: str) -> str:
    if name == "unit":
        return name
    return _OF_THE_PAIR[name] if scheme.unit == "pair" and name in _OF_THE_PAIR else f"ranking__about__{name}"


def _edge(
    scheme: Scheme, steps: Collection[After], rows: QuerySet[StandingRow], changed: int
) -> dict[int, _Stored] | None:
    """Return rows of one table besides the changed ones: those ranked, and those that may take a place set free.

    None where none is ranked and a least number is asked for: the table may have had too few, and every row may move.
    """
    least = max((step.number for step in steps if isinstance(step, MinimumUnits)), default=0)
    places = next((step for step in steps if isinstance(step, Places)), None)
    first_out = FIRST_WITHOUT_A_PLACE if scheme.mode == "rank" else FIRST_NOT_QUALIFIED
    ranked = rows.filter(rank__lt=first_out, note="").order_by("rank").values(*_READ)
    found = {row["pk"]: row for row in (ranked if places else ranked[: least + changed])}
    if least and not found:
        return None
    if places is None:
        return found
    waiting = rows.filter(note=places.words())
    last = waiting.order_by("rank").values_list("rank", flat=True)[changed + least : changed + least + 1].first()
    return found | _read(waiting if last is None else waiting.filter(rank__lte=last))


def _placed(scheme: Scheme, groups: Mapping[int, GroupKey], stored: Mapping[int, _Stored]) -> list[tuple[_Stored, Row]]:
    """Return stored rows beside what ``after`` makes of them among each other."""
    by_key = {(groups[one["table_id"]], one["unit"]): one for one in stored.values()}
    ranked = (
        ranked_row(scheme, unit=unit, group=group, value=one["value"], ranking=one["ranking"])
        for (group, unit), one in by_key.items()
    )
    return [(by_key[row.group, row.unit], row) for _, rows in place_rows(scheme, ranked) for row in rows]


def _too_few(scheme: Scheme, placed: Iterable[tuple[_Stored, Row]]) -> bool:
    """Tell whether a table gives no places, so far as read: there may be more units, or more to be told so."""
    said = {step.words() for step in scheme.after if isinstance(step, MinimumUnits)}
    return any(row.note in said for _, row in placed)


def _write_moved(scheme: Scheme, placed: Iterable[tuple[_Stored, Row]]) -> None:
    moved = [
        (row.note, row.qualified, row.tier or "", rank_of(scheme, row), old["pk"])
        for old, row in placed
        if (old["note"], old["qualified"], old["tier"]) != (row.note, row.qualified, row.tier or "")
    ]
    with connection.cursor() as cursor:
        cursor.executemany(
            'UPDATE riders_standingrow SET "note" = %s, "qualified" = %s, "tier" = %s, "rank" = %s WHERE "id" = %s',
            moved,
        )
