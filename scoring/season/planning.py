"""The smallest number of further rides that could qualify a unit, and what those rides must be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from itertools import combinations_with_replacement

from scoring.season.conditions import all_true
from scoring.season.hypothetical import FRESH, Newness, Profile, percentages_named, scheme_tests, worked_by
from scoring.season.ledger import FieldValue
from scoring.season.prospects import GRID, STEPS, Prospect
from scoring.season.requirements import supplies

__all__ = ["MOST_RIDES", "Plan", "make_plan", "useful_profiles"]

Demand = tuple[str, FieldValue, tuple[FieldValue, ...]]
"""A field that a ride needs: with this value, or with any other than those listed (then the value is ``FRESH``)."""

MOST_RIDES = 50
_MOST_TRIALS = 5_000
_WORST = Fraction(-(10**9))


@dataclass(frozen=True, slots=True)
class Plan:
    """So many rides of these kinds, each with at least so much (as a step of 0.001), qualify the unit; no fewer do.

    ``demands`` holds, for each ride, the fields without which the plan fails.
    """

    profiles: tuple[Profile, ...]
    lowest: int
    newness: Newness
    demands: tuple[tuple[Demand, ...], ...]


def make_plan(prospect: Prospect, profiles: Sequence[Profile]) -> Plan | None:
    """Search for the smallest plan; ``None`` where up to :data:`MOST_RIDES` rides do not do it."""
    if not prospect.unridden.possible:
        return None
    probes = _probes(prospect)
    useful = useful_profiles(prospect, profiles, probes=probes)
    trials = 0
    for rides in range(1, MOST_RIDES + 1):
        best: tuple[int, tuple[Profile, ...]] | None = None
        for chosen in combinations_with_replacement(useful, rides):
            trials += 1
            if trials > _MOST_TRIALS:
                return None
            lowest = _lowest(prospect, chosen, probes=probes)
            if lowest is not None and (best is None or lowest < best[0]):
                best = lowest, chosen
        if best is not None:
            return _completed(prospect, profiles, chosen=best[1], lowest=best[0])
    return None


def _lowest(prospect: Prospect, chosen: tuple[Profile, ...], *, probes: Sequence[int]) -> int | None:
    if not any(prospect.qualifies(chosen, step=step) for step in probes) and not _turns_back(prospect):
        return None
    return prospect.lowest_step(chosen)


def _turns_back(prospect: Prospect) -> bool:
    """Tell whether a higher percentage may be worse, so that trying the ends of the scale is not enough."""
    scheme = prospect.scheme
    return scheme.ascending or any(
        test.field == "percentage" and getattr(test, "operator", "at_least") not in ("at_least", "above")
        for test in scheme_tests(scheme)
    )


def _probes(prospect: Prospect) -> list[int]:
    """Return the percentages (as steps) at which rides are told apart: the ends, and around every bar that is named."""
    named = {int(percentage * GRID) for percentage in percentages_named(prospect.scheme)}
    around = {step + shift for step in named for shift in (-1, 0, 1)}
    return sorted((step for step in {0, STEPS // 2, STEPS, *around} if 0 <= step <= STEPS), reverse=True)


def useful_profiles(prospect: Prospect, profiles: Sequence[Profile], *, probes: Sequence[int]) -> list[Profile]:
    """Leave out rides that never count, and those that another kind of ride is at least as good as in every respect."""
    merits = [(profile, _merits(prospect, profile, probes=probes)) for profile in profiles]
    merits = [(profile, merit) for profile, merit in merits if any(cell[0] for cell in merit)]
    apart = worked_by(prospect.scheme)
    useful: list[_Judged] = []
    for profile, merit in merits:
        judged = _Judged(profile, tuple((name, value) for name, value in profile if name in apart), merit)
        if not any(other.at_least_as_good(judged) for other in useful):
            useful = [other for other in useful if not judged.at_least_as_good(other)]
            useful.append(judged)
    return [judged.profile for judged in useful]


@dataclass(frozen=True, slots=True)
class _Judged:
    """A kind of ride, the values that set it apart from others without being better, and what it is good for."""

    profile: Profile
    apart: Profile
    merits: list[tuple[Fraction, ...]]

    def at_least_as_good(self, other: _Judged) -> bool:
        return self.apart == other.apart and all(
            a >= b
            for row, others in zip(self.merits, other.merits, strict=True)
            for a, b in zip(row, others, strict=True)
        )


def _merits(prospect: Prospect, profile: Profile, *, probes: Sequence[int]) -> list[tuple[Fraction, ...]]:
    """Say at each probe what a ride is good for: does it count, with what number, towards which requirements."""
    return [_merit(prospect, profile, step=step) for step in probes]


def _merit(prospect: Prospect, profile: Profile, *, step: int) -> tuple[Fraction, ...]:
    scheme = prospect.scheme
    (ride,) = prospect.unridden.scores([profile], percentage=Fraction(step, GRID), newness=Newness.all_new(1))
    entry = prospect.counted(ride)
    counts = entry is not None
    parts = [part for need in scheme.all_requirements() for part in need.parts()]
    towards = [(counts and bool(supplies(part, ride))) != (part.most is not None) for part in parts]
    on_top = [counts and bool(all_true(take.plus_all, ride).truth) for take in scheme.takes() if take.plus_all]
    free = [not all_true(limit.where, ride).truth for limit in scheme.limit if limit.where]
    merit = _WORST if entry is None else entry.merit
    return (Fraction(counts), merit, *map(Fraction, (*towards, *on_top, *free)))


def _completed(prospect: Prospect, profiles: Sequence[Profile], *, chosen: tuple[Profile, ...], lowest: int) -> Plan:
    """Ease the plan as far as it still qualifies at the same percentage: fields first, then what has to be new."""
    eased, demands = chosen, [list[Demand]() for _ in chosen]
    for index in reversed(range(len(chosen))):
        for name in dict(chosen[index]):
            alternatives = _alternatives(eased[index], name, profiles=profiles)
            plans = [(*eased[:index], other, *eased[index + 1 :]) for other in alternatives]
            if plans and all(prospect.qualifies(plan, step=lowest) for plan in plans):
                eased = plans[-1]
            elif plans and name not in ("placing", "starters"):
                demands[index].append(_demand(eased[index], name, alternatives))
    newness = _least_newness(prospect, eased, lowest=lowest)
    return Plan(chosen, lowest, newness, tuple(map(tuple, demands)))


def _least_newness(prospect: Prospect, chosen: tuple[Profile, ...], *, lowest: int) -> Newness:
    """Find, one thing after the other, how many of the rides need a judge, competition, ... of their own."""
    newness = Newness.all_new(len(chosen))
    for aspect in fields(Newness):
        for number in range(len(chosen)):
            fewer = replace(newness, **{aspect.name: number})
            if prospect.qualifies(chosen, step=lowest, newness=fewer):
                newness = fewer
                break
    return newness


def _alternatives(profile: Profile, name: str, *, profiles: Sequence[Profile]) -> list[Profile]:
    """Return the profiles that differ from one in a single field only."""
    own = dict(profile)
    return [
        other
        for other in profiles
        if dict(other)[name] != own[name] and all(dict(other)[field] == own[field] for field in own if field != name)
    ]


def _demand(profile: Profile, name: str, alternatives: Sequence[Profile]) -> Demand:
    value = dict(profile)[name]
    return name, value, () if value != FRESH else tuple(dict(other)[name] for other in alternatives)
