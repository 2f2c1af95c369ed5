"""One unit in one group: limits, requirements, tiers and value, before anything is rounded or ranked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.exact import format_units, round_to_units
from scoring.season.counted import CountedScore
from scoring.season.ledger import Score, number_text
from scoring.season.limits import Limited, apply_limits
from scoring.season.requirements import Met, measure_all
from scoring.season.rows import GroupKey
from scoring.season.scheme import Scheme
from scoring.season.values import Unit, Valued, work_out_value
from scoring.season.windows import SeasonFacts

__all__ = ["Assessment", "Published", "assess", "publish"]


@dataclass(frozen=True, slots=True)
class Assessment:
    """What stands behind a row; ``met`` is whether every requirement holds, the threshold not looked at yet.

    Where no score is left there is no row, and nothing is met.
    """

    limited: Limited
    valued: Valued
    requirements: tuple[Met, ...]
    met: bool
    tier: str | None = None
    tier_rank: int = 0


@dataclass(frozen=True, slots=True)
class Published:
    """The rounded figure: as text, as the merit it is ranked by, and how it stands to the threshold."""

    value: str | None
    merit: Fraction | None
    threshold: Met | None
    met: bool


def assess(scheme: Scheme, entries: Sequence[CountedScore], *, facts: SeasonFacts) -> Assessment:
    """Take one unit's scores through ``limit``, ``require``, tiers and ``value``."""
    limited = apply_limits(scheme.limit, entries)
    scores = [entry.score for entry in limited.kept]
    if scheme.value is None:
        valued = Valued(counted=tuple(limited.kept))
    else:
        unit = Unit(scheme.require, facts, scheme.ascending)
        valued = work_out_value(scheme.value, limited.kept, unit=unit)
    required = measure_all(scheme.require, scores, facts)
    met = bool(scores) and all(one.met for one in required) and valued.feasible
    met = met and (scheme.value is None or valued.number is not None)
    requirements = (*required, *valued.must)
    if scheme.mode != "achieve":
        return Assessment(limited, valued, requirements, met)
    rank, tier, tier_needs = _tier(scheme, scores, facts=facts, met=met)
    return Assessment(limited, valued, (*requirements, *tier_needs), met and tier is not None, tier, rank)


def _tier(
    scheme: Scheme, scores: Sequence[Score], *, facts: SeasonFacts, met: bool
) -> tuple[int, str | None, tuple[Met, ...]]:
    """Return the first tier met, with its requirements; with none met, those of the last tier, which is the nearest."""
    needs: tuple[Met, ...] = ()
    for rank, tier in enumerate(scheme.tiers):
        needs = measure_all(tier.require, scores, facts)
        if met and all(one.met for one in needs):
            return rank, tier.name, needs
    return len(scheme.tiers), None, needs


def publish(scheme: Scheme, number: Fraction | None, *, group: GroupKey) -> Published:
    """Round a figure, once, and compare what is published with the threshold."""
    if number is None:
        value, merit, figure = None, None, None
    else:
        units = round_to_units(number, decimals=scheme.decimals, rounding=scheme.rounding)
        value, figure = format_units(units, decimals=scheme.decimals), Fraction(units, 10**scheme.decimals)
        merit = -figure if scheme.ascending else figure
    if scheme.threshold is None:
        return Published(value, merit, None, met=True)
    bar = scheme.threshold.bar_for(group)
    met = figure is not None and bar is not None and scheme.threshold.met(figure, bar)
    need = "" if bar is None else number_text(bar)
    return Published(value, merit, Met("value", value or "", need, met, sentence=scheme.threshold.words()), met)
