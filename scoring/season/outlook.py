"""The outlook of a unit: is it qualified, what does it still need, and what would one more score do."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.exact import format_units
from scoring.season.admission import Admitted, admit, day_in_force, group_of
from scoring.season.assessment import assess
from scoring.season.hypothetical import FRESH, Newness, Profile, Unridden, profiles_of
from scoring.season.ledger import Score, natural_key
from scoring.season.planning import Demand, Plan, make_plan
from scoring.season.prospects import GRID, STEPS, Prospect, Stretch
from scoring.season.requirements import Met
from scoring.season.rows import GroupKey, group_as_dict, group_order, plain_value
from scoring.season.scheme import Scheme

__all__ = ["NextPlace", "NextScore", "Outlook", "Ride", "compute_outlook"]

_MOST_PLACES = 30
_FAR_PLACES = (_MOST_PLACES + 1, 10 * _MOST_PLACES, 100 * _MOST_PLACES)
_NEW = ("competition", "class", "venue", "judges")
_OF_THE_CLASS = ("placing", "starters")
_DECIMALS = len(str(GRID)) - 1


@dataclass(frozen=True, slots=True)
class NextScore:
    """What one more score from ``first`` to below ``last`` (the end of the scale included) does to the value.

    ``value`` is None where it rises along the way: then from ``at_first`` to ``at_last``.
    """

    first: str
    last: str
    value: str | None
    at_first: str | None
    at_last: str | None

    def as_dict(self) -> dict[str, object]:
        piece: dict[str, object] = {"from": self.first, "to": self.last, "value": self.value}
        if self.value is None and self.at_first is not None:
            piece |= {"value_from": self.at_first, "value_to": self.at_last}
        return piece


@dataclass(frozen=True, slots=True)
class NextPlace:
    """The value after one more score with a place from ``first`` to ``last`` (None: any lower one too)."""

    first: int
    last: int | None
    value: str | None

    def as_dict(self) -> dict[str, object]:
        return {"from": self.first, "to": self.last, "value": self.value}


@dataclass(frozen=True, slots=True)
class Ride:
    """What one of the further rides must be: what has to be new, and conditions (as in a scheme) that it must meet."""

    new: tuple[str, ...]
    where: tuple[Demand, ...]

    def as_dict(self) -> dict[str, object]:
        conditions: list[dict[str, object]] = []
        for name, value, others in self.where:
            if value == FRESH:
                conditions.append({"field": name, "not_in": [plain_value(other) for other in others]})
            else:
                conditions.append({"field": name, "is": plain_value(value)})
        return {"new": list(self.new), "where": conditions}


@dataclass(frozen=True, slots=True)
class Outlook:
    """The outlook of a unit in one group; see :func:`compute_outlook`."""

    unit: str
    group: GroupKey
    qualified: bool
    value: str | None
    missing: tuple[Met, ...]
    scores_needed: int | None
    at_least_each: str | None
    rides: tuple[Ride, ...] = ()
    next_score: tuple[NextScore, ...] = ()
    tier: str | None = None
    next_place: tuple[NextPlace, ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return ``outlook/1``; ``next_place`` is there where the scheme looks at places."""
        document: dict[str, object] = {
            "format": "outlook/1",
            "unit": self.unit,
            "group": group_as_dict(self.group),
            "qualified": self.qualified,
            "value": self.value,
            "missing": [_without_met(met) for met in self.missing],
            "scores_needed": self.scores_needed,
            "at_least_each": self.at_least_each,
            "rides": [ride.as_dict() for ride in self.rides],
            "next_score": [piece.as_dict() for piece in self.next_score],
        }
        if self.next_place:
            document["next_place"] = [piece.as_dict() for piece in self.next_place]
        return document


def _without_met(met: Met) -> dict[str, object]:
    return {key: value for key, value in met.as_dict().items() if key != "met"}


def compute_outlook(
    scheme: Scheme, scores: Iterable[Score], *, unit: str, as_of: dt.date | None = None
) -> list[Outlook]:
    """Work out the outlook of a unit in each group in which it has a score that may count.

    The further rides are ridden after ``as_of`` (after the latest day in the ledger, if None), inside the season, by
    the same rider and horse, each with the same percentage; where the scheme looks at places, each is a win. Whatever
    the scheme tells apart is tried: ``scores_needed`` is the smallest number that can do, up to 50, and None if none
    does.
    """
    return [
        _outlook(scheme, unit, group, admitted, unridden=unridden)
        for group, admitted, unridden in groups_ahead(scheme, scores, unit=unit, as_of=as_of)
    ]


def groups_ahead(
    scheme: Scheme, scores: Iterable[Score], *, unit: str, as_of: dt.date | None
) -> list[tuple[GroupKey, Admitted, Unridden]]:
    """Return each group in which a unit has a score that may count, with what came through and the days left."""
    ledger = tuple(scores)
    admitted = admit(scheme, ledger, as_of=as_of, units={unit})
    day = as_of or max((score.date for score in ledger if score.date is not None), default=None)
    unridden = _days_left(scheme, ledger, as_of=as_of, day=day)
    return [(group, admitted, unridden) for group in sorted(_groups(scheme, admitted), key=group_order)]


def _days_left(scheme: Scheme, ledger: Sequence[Score], *, as_of: dt.date | None, day: dt.date | None) -> Unridden:
    tomorrow = dt.date(2000, 1, 1) if day is None else day + dt.timedelta(days=1)
    window = scheme.season.window(day_in_force(scheme, ledger, as_of))
    first = tomorrow if scheme.season.rolling or window.first is None else max(tomorrow, window.first)
    return Unridden(first, scheme.season.last, None)


def _groups(scheme: Scheme, admitted: Admitted) -> set[GroupKey]:
    if not scheme.group_by:
        return {()}
    counting = {group_of(scheme, entry.score) for entry in admitted.entries}
    return counting or {group_of(scheme, score) for score, _ in admitted.refused}


def _outlook(scheme: Scheme, unit: str, group: GroupKey, admitted: Admitted, *, unridden: Unridden) -> Outlook:
    prospect, profiles = prospect_of(scheme, unit, group, admitted, unridden=unridden)
    entries = prospect.entries
    assessment = assess(scheme, entries, facts=admitted.facts)
    published = prospect.published(assessment.valued.number)
    qualified = assessment.met and published.met
    asked = (*assessment.requirements, *([published.threshold] if published.threshold else []))
    plan = None if qualified else make_plan(prospect, profiles)
    return Outlook(
        unit=unit,
        group=group,
        qualified=qualified,
        value=published.value,
        missing=tuple(met for met in asked if not met.met),
        scores_needed=0 if qualified else None if plan is None else len(plan.profiles),
        at_least_each=None if plan is None else _percentage(plan.lowest),
        rides=() if plan is None else tuple(_ride(plan, index) for index in range(len(plan.profiles))),
        next_score=_next_score(prospect, profiles, plan=plan, latest=prospect.unridden.latest),
        tier=assessment.tier,
        next_place=_next_place(prospect, profiles, latest=prospect.unridden.latest),
    )


def prospect_of(
    scheme: Scheme, unit: str, group: GroupKey, admitted: Admitted, *, unridden: Unridden
) -> tuple[Prospect, list[Profile]]:
    """Return a unit as it stands in a group, and every kind of ride that the scheme tells apart for it."""
    entries = [entry for entry in admitted.entries if group_of(scheme, entry.score) == group]
    refused = [score for score, _ in admitted.refused]
    here = [score for score in refused if group_of(scheme, score) == group]
    latest = _latest([entry.score for entry in entries] or here or refused)
    ahead = Unridden(unridden.first_day, unridden.last_day, latest)
    profiles = profiles_of(scheme, unit=unit, group=group, latest=latest, known=[entry.score for entry in entries])
    return Prospect(scheme, group, entries, admitted.facts, ahead), profiles


def _latest(known: Sequence[Score]) -> Score | None:
    return max(known, key=lambda score: (score.date or dt.date.min, natural_key(score.score_id)), default=None)


def _ride(plan: Plan, index: int) -> Ride:
    newness = plan.newness
    named = {
        "judge": newness.judges, "competition": newness.competitions, "date": newness.days, "test": newness.tests,
        "venue": newness.venues,
    }  # fmt: skip
    new = tuple(name for name, number in named.items() if index < number)
    return Ride(new, tuple(demand for demand in plan.demands[index] if demand[0] not in new))


def _next_score(
    prospect: Prospect, profiles: Sequence[Profile], *, plan: Plan | None, latest: Score | None
) -> tuple[NextScore, ...]:
    """Look at one more ride: like the unit's latest one, or the first of the plan where it has none."""
    if prospect.scheme.value is None or not prospect.unridden.possible or not profiles:
        return ()
    alike = _like_latest(prospect, profiles, latest=latest)
    profile = plan.profiles[0] if plan is not None and not prospect.entries else alike
    pieces: list[NextScore] = []
    for stretch in prospect.stretches([profile]):
        piece = _piece(prospect, stretch)
        if pieces and pieces[-1].value is not None and pieces[-1].value == piece.value:
            piece = NextScore(pieces.pop().first, piece.last, piece.value, piece.at_first, piece.at_last)
        pieces.append(piece)
    return tuple(pieces)


def _next_place(prospect: Prospect, profiles: Sequence[Profile], *, latest: Score | None) -> tuple[NextPlace, ...]:
    """Look at one more ride like the unit's latest one, place by place; nothing where the scheme looks at no places.

    Its percentage and its class's size are those of the latest ride. Places are looked at as far as the class has
    starters, or to the 30th; lower ones are one piece with it where they all come to the same.
    """
    scheme = prospect.scheme
    if scheme.value is None or not scheme.works_by_places or not prospect.unridden.possible or not profiles:
        return ()
    alike = _like_latest(prospect, profiles, latest=latest)
    if latest is not None and latest.starters is not None:
        alike = tuple((name, latest.starters if name == "starters" else value) for name, value in alike)
    percentage = _percentage_of(latest)
    starters = dict(alike).get("starters")
    lowest = min(_MOST_PLACES, starters) if isinstance(starters, int) else _MOST_PLACES
    pieces: list[NextPlace] = []

    def value_at(place: int) -> str | None:
        placed: Profile = tuple((name, place if name == "placing" else value) for name, value in alike)
        assessment = prospect.assess_with([placed], percentage=percentage)
        return prospect.published(assessment.valued.number).value

    for place in range(1, lowest + 1):
        value = value_at(place)
        if pieces and pieces[-1].value == value:
            pieces[-1] = NextPlace(pieces[-1].first, place, value)
        else:
            pieces.append(NextPlace(place, place, value))
    if pieces and starters is None and all(value_at(place) == pieces[-1].value for place in _FAR_PLACES):
        pieces[-1] = NextPlace(pieces[-1].first, None, pieces[-1].value)
    return tuple(pieces)


def _like_latest(prospect: Prospect, profiles: Sequence[Profile], *, latest: Score | None) -> Profile:
    """Return a win like the latest ride, in a class of the most useful size; its test and level are the same."""
    nearest = max(_likeness(profile, latest) for profile in profiles)
    near = [profile for profile in profiles if _likeness(profile, latest) == nearest]
    alike = near[0] if len(near) == 1 else max(near, key=lambda profile: _merit_of_win(prospect, profile, latest))
    if latest is None:
        return alike
    same = {name: latest.value_of(name) for name, value in alike if value == FRESH and name not in _NEW}
    if dict(alike).get("test", FRESH) == FRESH:
        same["test"] = latest.test
    return tuple(sorted({**dict(alike), **{name: value for name, value in same.items() if value is not None}}.items()))


def _likeness(profile: Profile, latest: Score | None) -> int:
    """Count how many fields are as in the latest score; a value that the scheme does not name is half as near."""
    if latest is None:
        return 0
    return sum(
        2 if latest.value_of(name) == value else int(value == FRESH)
        for name, value in profile
        if name not in _OF_THE_CLASS
    )


def _merit_of_win(prospect: Prospect, profile: Profile, latest: Score | None) -> tuple[bool, bool, Fraction]:
    (ride,) = prospect.unridden.scores([profile], percentage=_percentage_of(latest), newness=Newness.all_new(1))
    entry = prospect.counted(ride)
    merit = Fraction(0) if entry is None else entry.merit
    return dict(profile).get("placing") == 1, entry is not None, merit


def _percentage_of(latest: Score | None) -> Fraction:
    return latest.percentage if latest is not None and latest.percentage is not None else Fraction(STEPS, GRID)


def _piece(prospect: Prospect, stretch: Stretch) -> NextScore:
    end = STEPS if stretch.last == STEPS else stretch.last + 1
    at_first = prospect.published(stretch.figure(stretch.first)).value
    at_last = prospect.published(stretch.figure(end)).value
    value = at_first if stretch.slope == 0 else None
    return NextScore(_percentage(stretch.first), _percentage(end), value, at_first, at_last)


def _percentage(step: int) -> str:
    return format_units(step, decimals=_DECIMALS)
