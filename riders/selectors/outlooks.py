"""What a pair's season may still bring: exact outlooks, and an estimate of the chance at its present form."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.core.cache import cache
from django.utils import timezone

from riders.models import Pair, Season
from riders.selectors.details import latest_day
from riders.selectors.ledger import days_read, scores_in_force, season_ledger
from riders.selectors.units import scores_of_units, units_of_pair
from scoring import season as season_rules

_KEPT_SECONDS = 3600


@dataclass(frozen=True, slots=True)
class GroupOutlook:
    """One unit in one table: the exact outlook, and the estimated chances (none where nothing can be estimated)."""

    outlook: season_rules.Outlook
    chances: tuple[season_rules.Chance, ...]

    @property
    def title(self) -> str:
        return ", ".join("not stated" if value is None else str(value) for _, value in self.outlook.group) or "All"

    @property
    def form(self) -> tuple[str, ...]:
        """The percentages that the chances are drawn from, as text, the lowest first."""
        return tuple(season_rules.number_text(value) for value in self.chances[0].form) if self.chances else ()


@dataclass(frozen=True, slots=True)
class PairOutlook:
    """A pair's outlook in a season as of a day: that day's rides are ridden, further ones come after it."""

    pair: Pair
    season: Season
    as_of: date
    groups: tuple[GroupOutlook, ...]


def pair_outlook(pair: Pair, season: Season, *, today: date | None = None) -> PairOutlook:
    """Return the outlook of a pair, or of the unit that it belongs to, in each table in which it has a score.

    It stands at today, or at the latest ride of the ledger where that is later. It is kept until the
    season's standings change.
    """
    as_of = _as_of(season, today or timezone.now().date())
    key = f"outlook/{season.pk}/{season.version}/{season.scheme_id}/{pair.pk}/{as_of}"
    groups = cache.get(key)
    if groups is None:
        groups = _groups(pair, season, as_of=as_of)
        cache.set(key, groups, _KEPT_SECONDS)
    return PairOutlook(pair, season, as_of, groups)


def _as_of(season: Season, today: date) -> date:
    latest = latest_day(season)
    return max(today, latest) if latest else today


def _groups(pair: Pair, season: Season, *, as_of: date) -> tuple[GroupOutlook, ...]:
    scheme = season_rules.read_scheme(season.scheme.document)
    own = scores_in_force().filter(pair=pair, date__range=days_read(season, scheme))
    found: list[GroupOutlook] = []
    for unit in units_of_pair(scheme, pair, own):
        ledger = season_ledger(season, scheme, among=scores_of_units(scheme, [unit])).scores
        chances = season_rules.compute_chances(scheme, ledger, unit=unit, as_of=as_of)
        found += [
            GroupOutlook(outlook, chances.get(outlook.group, ()))
            for outlook in season_rules.compute_outlook(scheme, ledger, unit=unit, as_of=as_of)
        ]
    return tuple(found)
