"""What a scheme that is not in force yet would do to a season: worked out on the real ledger, and not stored."""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.core.cache import cache

from riders.errors import InvalidInput
from riders.intake import plain_document, refused_document
from riders.models import Pair, Season, StandingTable
from riders.ranks import is_placed
from riders.selectors.details import standing_day
from riders.selectors.ledger import days_read, scores_in_force, season_ledger
from riders.selectors.places import PlacedRow, rows_one_by_one
from riders.selectors.seasons import ExplainedScore, explained_scores
from riders.selectors.standings_tables import group_title, shown_tables
from riders.selectors.units import scores_of_units
from riders.services.columns import is_columnar
from riders.services.standing_rows import Worked, unsaved_row, work_rows
from riders.services.standings import compute_rows
from scoring import season as season_rules
from scoring.documents import InvalidDocument
from scoring.season import Scheme

MOST_SCORES, MOST_SCORES_EXACTLY = 200_000, 50_000
"""How long a ledger may be while someone waits; the second for schemes that the columnar path cannot count."""
_KEPT_SECONDS = 600
KINDS: Mapping[str, str] = {
    "falls": "no longer qualify",
    "qualifies": "newly qualify",
    "place": "change place",
    "value": "change value",
}
"""What can happen to a unit, the gravest first."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a unit stands in one table: ``value`` and ``tier`` are empty where there is none."""

    group: str
    value: str
    placing: int | None
    shared: bool
    qualified: bool
    tier: str = ""
    order: int = 0


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One unit: where it stands now and would stand, None where it has no row; ``kinds`` is empty for no change."""

    unit: str
    before: Standing | None
    after: Standing | None
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """The difference that a draft makes to a season.

    ``counts`` says how many units of each of ``KINDS`` there are, a unit of several kinds in each of them. Where the
    draft ranks other units than the season does, nothing can be laid side by side: ``comparable`` is False, and
    ``rows`` are what the draft would give. ``unit`` is what the draft ranks, ``rows`` those of all units, the gravest
    change first.
    """

    unit: str
    comparable: bool
    scores: int
    counts: Mapping[str, int]
    unchanged: int
    qualified: tuple[int, int]
    units: tuple[int, int]
    rows: tuple[EffectRow, ...]

    def of(self, kind: str = "") -> tuple[EffectRow, ...]:
        """Return the rows of one kind of change, or of any."""
        return tuple(row for row in self.rows if (kind in row.kinds if kind else row.kinds))


def effect_of(document: object, season: Season) -> Effect:
    """Work out what a draft would do to a season, from its stored standings and the ledger as it is now.

    Raises :class:`InvalidInput` with every problem of the document, or where the ledger is too long to wait for.
    """
    scheme = _scheme(document)
    as_of = standing_day(season, scheme)
    key = f"effect/{season.pk}/{season.version}/{season.scheme_id}/{as_of}/{_digest(document)}"
    effect: Effect | None = cache.get(key)
    if effect is None:
        effect = _worked_out(scheme, season, as_of=as_of)
        cache.set(key, effect, _KEPT_SECONDS)
    return effect


def _scheme(document: object) -> Scheme:
    try:
        return season_rules.read_scheme(document)
    except InvalidDocument as error:
        raise refused_document(error, what="The rule") from error


def _digest(document: object) -> str:
    return hashlib.sha256(json.dumps(plain_document(document), sort_keys=True).encode()).hexdigest()


def _worked_out(scheme: Scheme, season: Season, *, as_of: date | None) -> Effect:
    in_days = scores_in_force().filter(date__range=days_read(season, scheme)).count()
    most = MOST_SCORES if is_columnar(scheme) else MOST_SCORES_EXACTLY
    if in_days > most:
        raise InvalidInput(
            f"This season has {in_days} scores, more than the {most} that can be counted while you wait. Take the "
            "ledger as a file and use the command line: python -m scoring standings --scheme."
        )
    now = season_rules.read_scheme(season.scheme.document)
    before, after = _stored(season), _computed(compute_rows(season, scheme, as_of=as_of))
    comparable = now.unit == scheme.unit
    common = [name for name in now.group_by if name in scheme.group_by]
    rows = _rows(before if comparable else [], after, common=common)
    counts = Counter(kind for row in rows for kind in row.kinds) if comparable else Counter()
    return Effect(
        unit=scheme.unit,
        comparable=comparable,
        scores=in_days,
        counts={kind: counts[kind] for kind in KINDS},
        unchanged=sum(not row.kinds for row in rows) if comparable else 0,
        qualified=(_qualified(before), _qualified(after)),
        units=(len(before), len(after)),
        rows=_in_order(rows),
    )


_Placed = list[tuple[str, Mapping[str, Any], Standing]]
"""(unit, group, standing) of every row."""


def _stored(season: Season) -> _Placed:
    placed: _Placed = []
    for table in shown_tables(season):
        title = group_title(table.group)
        for row in rows_one_by_one(table):
            standing = Standing(
                group=title,
                value=row.value,
                placing=row.placing,
                shared=row.shared,
                qualified=row.qualified,
                tier=row.tier,
                order=len(placed),
            )
            placed.append((row.unit, table.group, standing))
    return placed


def _computed(rows: Iterable[Worked]) -> _Placed:
    """Give places to rows that stand table by table: one more than the rows of the table with a lower rank."""
    placed: _Placed = []
    for key, table in groupby(rows, key=lambda row: row.group):
        group = season_rules.group_as_dict(key)
        title, position = group_title(group), 0
        for rank, sharing in groupby(
            sorted(table, key=lambda row: (row.rank, row.name_order)), key=lambda row: row.rank
        ):
            members, has_place = list(sharing), is_placed(rank)
            for row in members:
                standing = Standing(
                    group=title,
                    value=row.value,
                    placing=position + 1 if has_place else None,
                    shared=has_place and len(members) > 1,
                    qualified=row.qualified,
                    tier=row.tier,
                    order=len(placed),
                )
                placed.append((row.unit, group, standing))
            position += len(members)
    return placed


def _qualified(placed: _Placed) -> int:
    return sum(standing.qualified for _, _, standing in placed)


def _rows(before: _Placed, after: _Placed, *, common: list[str]) -> list[EffectRow]:
    """Lay the rows of each unit side by side, table by table as far as both schemes have the same tables."""
    found: dict[tuple[str, ...], tuple[list[Standing], list[Standing]]] = defaultdict(lambda: ([], []))
    for side, placed in enumerate((before, after)):
        for unit, group, standing in placed:
            found[(unit, *(str(group.get(name)) for name in common))][side].append(standing)
    return [
        EffectRow(key[0], one, other, _kinds(one, other))
        for key, (then, now) in found.items()
        for one, other in _side_by_side(then, now)
    ]


def _side_by_side(then: list[Standing], now: list[Standing]) -> Iterable[tuple[Standing | None, Standing | None]]:
    """Pair the rows of a unit: one becomes one, one is divided into several, or several become one."""
    if len(then) == 1 and now:
        return [(then[0], one) for one in now]
    if len(now) == 1 and then:
        return [(one, now[0]) for one in then]
    return [*((one, None) for one in then), *((None, one) for one in now)]


def _kinds(before: Standing | None, after: Standing | None) -> tuple[str, ...]:
    was, would = before is not None and before.qualified, after is not None and after.qualified
    kinds = ["falls"] if was and not would else ["qualifies"] if would and not was else []
    if before is not None and after is not None:
        kinds += ["place"] if before.placing != after.placing else []
        kinds += ["value"] if (before.value, before.tier) != (after.value, after.tier) else []
    elif not kinds:
        kinds.append("value")
    return tuple(kinds)


def _in_order(rows: list[EffectRow]) -> tuple[EffectRow, ...]:
    gravity = {kind: number for number, kind in enumerate(KINDS)}
    return tuple(
        sorted(
            rows,
            key=lambda row: (gravity[row.kinds[0]] if row.kinds else len(KINDS), _place_in_tables(row), row.unit),
        )
    )


def _place_in_tables(row: EffectRow) -> tuple[int, int]:
    return (0, row.after.order) if row.after else (1, row.before.order if row.before else 0)


def names_of_units(unit: str, rows: Iterable[EffectRow]) -> dict[str, str]:
    """Return the names of rider and horse for the units of some rows, where the units are pairs."""
    if unit != "pair":
        return {}
    pairs = Pair.objects.filter(key__in=[row.unit for row in rows]).select_related("rider", "horse")
    return {pair.key: str(pair) for pair in pairs}


@dataclass(frozen=True, slots=True)
class UnitUnderDraft:
    """A unit's row in one table as the draft would give it, with every score of it and what would become of it.

    ``row`` is not stored; it is None for scores of a table in which the unit would have no row.
    """

    row: PlacedRow | None
    scores: tuple[ExplainedScore, ...]


def unit_under(document: object, season: Season, *, unit: str) -> tuple[UnitUnderDraft, ...]:
    """Return one unit's rows and scores under a draft; places are those among all units."""
    scheme = _scheme(document)
    effect = effect_of(document, season)
    ledger = season_ledger(season, scheme, among=scores_of_units(scheme, [unit]))
    as_of = standing_day(season, scheme)
    standings = season_rules.compute_standings(scheme, ledger.scores, units=[unit], as_of=as_of)
    places = {row.after.group: row.after for row in effect.rows if row.unit == unit and row.after}
    pairs = Pair.objects.select_related("rider", "horse").in_bulk(
        [ledger.pairs[unit]] if scheme.unit == "pair" and unit in ledger.pairs else []
    )
    rows: list[PlacedRow | None] = []
    for worked in work_rows(scheme, standings.rows(), ledger=ledger):
        table = StandingTable(season=season, number=len(rows), group=season_rules.group_as_dict(worked.group))
        place = places[group_title(table.group)]
        row = unsaved_row(table, worked, pairs)
        row.qualified = place.qualified
        rows.append(PlacedRow(row, place.placing, place.shared))
    left_out = [one.explanations for one in standings.left_out if one.unit == unit]
    explained = explained_scores([*(row.explanations for row in standings.rows()), *left_out])
    return tuple(
        UnitUnderDraft(row, scores) for row, scores in zip([*rows, *([None] * len(left_out))], explained, strict=True)
    )
