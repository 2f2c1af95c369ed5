"""What stands behind a row: why each score counts or does not, and the figures it is ranked by.

Rows do not keep it where the unit's own scores are enough to work it out again: the standings follow the ledger in the
transaction that changes it, so that what is worked out when someone asks is what the row was made of.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Any

from django.db.models import Max
from django.utils import timezone

from riders.models import Season, StandingRow
from riders.selectors.ledger import scores_in_force, season_ledger
from riders.selectors.units import scores_of_units
from scoring import season as season_rules
from scoring.season import Scheme

Explanation = tuple[str, str, str]
"""The key of a score, what became of it (counted, dropped or not eligible), and why in a sentence."""


@dataclass(frozen=True, slots=True)
class Detail:
    explanations: tuple[Explanation, ...] = ()
    ties: tuple[tuple[Fraction, ...], ...] = field(default=())


def details_of(season: Season, rows: Iterable[StandingRow]) -> dict[int, Detail]:
    """Return what stands behind rows of one season, by the row."""
    rows = list(rows)
    scheme = season_rules.read_scheme(season.scheme.document)
    details = {row.pk: _kept(row) for row in rows if row.explanations is not None}
    open_rows = [row for row in rows if row.pk not in details]
    if open_rows:
        worked = _work_out(season, scheme, {row.unit for row in open_rows})
        details |= {row.pk: worked.get(_key(row.table.group, row.unit), Detail()) for row in open_rows}
    return details


def _kept(row: StandingRow) -> Detail:
    return Detail(
        tuple((key, outcome, sentence) for key, outcome, sentence in row.explanations or ()),
        tuple(tuple(Fraction(part) for part in key) for key in (row.ranking or {}).get("ties", [])),
    )


def _work_out(season: Season, scheme: Scheme, units: set[str]) -> dict[object, Detail]:
    ledger = season_ledger(season, scheme, among=scores_of_units(scheme, units))
    standings = season_rules.compute_standings(scheme, ledger.scores, units=units, as_of=season.stands_on)
    return {
        _key(season_rules.group_as_dict(row.group), row.unit): Detail(row.explanations, row.tie_keys)
        for row in standings.rows()
    }


def _key(group: dict[str, Any], unit: str) -> object:
    return tuple(sorted(group.items())), unit


def latest_day(season: Season) -> date | None:
    """Return the day of the latest ride of the season in the ledger."""
    within = scores_in_force().filter(date__range=(season.starts_on, season.ends_on))
    latest: date | None = within.aggregate(latest=Max("date"))["latest"]
    return latest


def standing_day(season: Season, scheme: Scheme) -> date | None:
    """Return the day on which rolling days stand now: today, or the latest ride where the ledger is ahead of us.

    They stand still at the end of the season. None where the days of the scheme are fixed.
    """
    if not scheme.season.rolling:
        return None
    today = timezone.now().date()
    return min(max(today, latest_day(season) or today), season.ends_on)
