"""Standings of a season, computed by the scoring core from the ledger and stored row by row."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from django.db.models import F, Q
from django.utils import timezone

from riders.models import Pair, Season, StandingRow
from riders.selectors.ledger import scores_for_season
from riders.selectors.units import scores_of_units
from riders.services.standing_rows import new_rows, write_rows
from riders.services.touched_rows import TablesChanged, merge_rows
from riders.transactions import write_transaction
from scoring import season as season_rules
from scoring.season import Scheme

_MOST_TOUCHED = 500


def rebuild_standings(season: Season) -> None:
    """Work the whole table of a season out anew and store it, in one transaction of its own."""
    with write_transaction():
        store_standings(season)


def rebuild_touched(dates: Collection[date], pairs: Collection[int] | None = None) -> None:
    """Bring the open seasons that any of these ride dates falls into up to date, inside the caller's transaction.

    With ``pairs``, the ids of all pairs that a score was given to or taken from, only their units are worked out anew
    where the scheme allows it.
    """
    within = Q(pk__in=[])
    for day in set(dates):
        within |= Q(starts_on__lte=day, ends_on__gte=day)
    for season in Season.objects.filter(within, closed_at__isnull=True).select_related("scheme", "association"):
        if pairs is None:
            store_standings(season)
        else:
            store_touched(season, pairs=pairs)


def store_standings(season: Season) -> None:
    """Compute and store inside the caller's transaction; the rows before are replaced."""
    scheme = season_rules.read_scheme(season.scheme.document)
    scores = season_rules.scores_from_rows(scores_for_season(season))
    standings = season_rules.compute_standings(scheme, scores)
    StandingRow.objects.filter(season=season).delete()
    write_rows(new_rows(season, scheme, [(group.group, group.rows) for group in standings.groups]))
    _say_computed(season)


def store_touched(season: Season, *, pairs: Collection[int]) -> bool:
    """Compute only the units of these pairs, rank them among the others, and store what has changed.

    Falls back on the whole where a unit's figures depend on the rides of others (places counted again, shared places,
    shares of the season's competitions), where the days that count move, where the units of a pair are not known, and
    where a table appears or goes. Says whether the short way was taken. Inside the caller's transaction.
    """
    scheme = season_rules.read_scheme(season.scheme.document)
    units = _units_of(scheme, pairs) if len(pairs) <= _MOST_TOUCHED else None
    ledger = None if units is None or scheme.season.rolling else scores_of_units(scheme, units)
    if units is None or ledger is None or season.computed_at is None:
        store_standings(season)
        return False
    scores = season_rules.scores_from_rows(scores_for_season(season, among=ledger))
    standings = season_rules.compute_standings(scheme, scores, units=units)
    try:
        merge_rows(season, scheme, standings.rows(), units=units)
    except TablesChanged:
        store_standings(season)
        return False
    _say_computed(season)
    return True


def _units_of(scheme: Scheme, pairs: Collection[int]) -> frozenset[str] | None:
    """Return the units that pairs belong to, where that follows from the pair alone."""
    field = {"pair": "key", "rider": "rider__name", "horse": "horse__name"}.get(scheme.unit)
    return None if field is None else frozenset(Pair.objects.filter(pk__in=pairs).values_list(field, flat=True))


def _say_computed(season: Season) -> None:
    Season.objects.filter(pk=season.pk).update(version=F("version") + 1, computed_at=timezone.now())
