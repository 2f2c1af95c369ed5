"""An estimate: how often a unit would qualify if its next rides were like those it has ridden this season.

Everything else in the season rules is exact; this is not. The further rides of the outlook are given percentages drawn
from the unit's own, with replacement (the bootstrap: Efron, Annals of Statistics 7, 1979), many times, from a fixed
seed, so that the same ledger gives the same figure.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from random import Random

from scoring.exact import Rounding, format_units, round_ratio
from scoring.season.admission import Admitted, group_of
from scoring.season.assessment import assess
from scoring.season.hypothetical import Newness, Unridden
from scoring.season.ledger import Score
from scoring.season.outlook import groups_ahead, prospect_of
from scoring.season.planning import Plan, make_plan
from scoring.season.prospects import Prospect
from scoring.season.rows import GroupKey
from scoring.season.scheme import Scheme

__all__ = ["DRAWS", "FEWEST_SCORES", "SEED", "Chance", "compute_chances"]

DRAWS = 1_000
SEED = 20_270_901
FEWEST_SCORES = 3
"""Fewer own scores than this say too little about a form."""

_EXTRA_RIDES = 2
_MOST_RIDES = 12


@dataclass(frozen=True, slots=True)
class Chance:
    """How many of ``draws`` seasons got there with ``rides`` more rides; ``form`` are the percentages drawn from."""

    rides: int
    reached: int
    draws: int
    seed: int
    form: tuple[Fraction, ...]

    @property
    def percent(self) -> str:
        """The share as whole per cent; never 0 or 100 where a draw says otherwise.

        >>> Chance(2, 999, 1000, 1, ()).percent, Chance(2, 415, 1000, 1, ()).percent
        ('99', '42')
        """
        whole = round_ratio(100 * self.reached, self.draws, rounding=Rounding.HALF_UP)
        inside = 0 < self.reached < self.draws
        return format_units(min(max(whole, 1), 99) if inside else whole, decimals=0)


def compute_chances(
    scheme: Scheme,
    scores: Iterable[Score],
    *,
    unit: str,
    as_of: dt.date | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
) -> dict[GroupKey, tuple[Chance, ...]]:
    """Estimate the chance to qualify with the rides that a unit needs, and with one and two more, in each group.

    A group is left out where the unit is qualified, where no number of rides does it, where it needs more than
    twelve, and where it has fewer than :data:`FEWEST_SCORES` scores.

    ``scores`` and ``as_of`` are those of :func:`~scoring.season.outlook.compute_outlook`. The form is every completed
    ride of the unit in that group of a kind that counts there, not hors concours, whether or not the ride counts; a
    ride too low to count is form too.
    """
    found: dict[GroupKey, tuple[Chance, ...]] = {}
    for group, admitted, unridden in groups_ahead(scheme, scores, unit=unit, as_of=as_of):
        chances = _chances(scheme, unit, group, admitted, unridden=unridden, draws=draws, seed=seed)
        if chances:
            found[group] = chances
    return found


def _chances(
    scheme: Scheme, unit: str, group: GroupKey, admitted: Admitted, *, unridden: Unridden, draws: int, seed: int
) -> tuple[Chance, ...]:
    prospect, profiles = prospect_of(scheme, unit, group, admitted, unridden=unridden)
    form = _form(prospect, admitted)
    if len(form) < FEWEST_SCORES or _qualifies(prospect, []):
        return ()
    plan = make_plan(prospect, profiles)
    if plan is None or len(plan.profiles) > _MOST_RIDES:
        return ()
    return tuple(
        _draw(prospect, _longer(plan, by=extra), form, draws=draws, seed=seed) for extra in range(_EXTRA_RIDES + 1)
    )


def _form(prospect: Prospect, admitted: Admitted) -> tuple[Fraction, ...]:
    own = [entry.score for entry in prospect.entries]
    own += [score for score, _ in admitted.refused if group_of(prospect.scheme, score) == prospect.group]
    kinds = {entry.score.kind for entry in prospect.entries}
    return tuple(
        sorted(
            score.percentage
            for score in own
            if score.percentage is not None
            and score.status in (None, "completed")
            and not score.hors_concours
            and (not kinds or score.kind in kinds)
        )
    )


def _longer(plan: Plan, *, by: int) -> Plan:
    """Add rides like the last of the plan, each new in every respect."""
    newness = Newness(**{one.name: getattr(plan.newness, one.name) + by for one in fields(Newness)})
    return replace(plan, profiles=(*plan.profiles, *(plan.profiles[-1],) * by), newness=newness)


def _draw(prospect: Prospect, plan: Plan, form: Sequence[Fraction], *, draws: int, seed: int) -> Chance:
    random = Random(seed)  # noqa: S311 - an estimate that anyone can repeat, not a secret
    rides = prospect.unridden.scores(plan.profiles, percentage=Fraction(0), newness=plan.newness)
    alike = len(set(plan.profiles)) == 1 and plan.newness == Newness.all_new(len(rides))
    known: dict[tuple[Fraction, ...], bool] = {}
    reached = 0
    for _ in range(draws):
        drawn = tuple(random.choices(form, k=len(rides)))
        key = tuple(sorted(drawn)) if alike else drawn
        if key not in known:
            known[key] = _qualifies(
                prospect, [replace(ride, percentage=percentage) for ride, percentage in zip(rides, key, strict=True)]
            )
        reached += known[key]
    return Chance(len(rides), reached, draws, seed, tuple(form))


def _qualifies(prospect: Prospect, rides: Sequence[Score]) -> bool:
    added = [entry for ride in rides if (entry := prospect.counted(ride)) is not None]
    assessment = assess(prospect.scheme, [*prospect.entries, *added], facts=prospect.facts_with(rides))
    return assessment.met and prospect.published(assessment.valued.number).met
