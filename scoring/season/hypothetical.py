"""Rides that have not been ridden: which kinds of ride a scheme tells apart, and scores made from them.

A :class:`Profile` fixes the fields that the scheme's conditions and tables look at (kind, test, highest of the level).
What only has to be new (judge, competition, day) is filled in ride by ride.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from math import prod

from scoring.season.conditions import BarTest, Condition, FieldTest
from scoring.season.ledger import NUMBERS, FieldValue, Score, as_text, natural_key
from scoring.season.requirements import requirement_tests
from scoring.season.rows import GroupKey
from scoring.season.scheme import Scheme
from scoring.season.steps import (
    Change,
    FromStarters,
    Linear,
    PlacesByStarters,
    RidersBeaten,
    Take,
    inner_steps,
    step_tests,
)
from scoring.season.tables import Table

__all__ = ["Newness", "Profile", "Unridden", "percentages_named", "profiles_of", "scheme_tests", "worked_by"]

FRESH = "\0new"
"""Marks a value that stands for any other one than those named."""

_BOOLEANS = ("highest_of_level", "hors_concours", "recognised", "member")
_OWN_FIELDS = ("pair", "rider", "horse", "owner", "team", "division", "horse_age")
_COUNTED_FIELDS = {
    "levels": "level", "pairs": "pair", "riders": "rider", "horses": "horse", "competitions": "competition",
    "tests": "test", "venues": "venue", "classes": "class", "judges": "judges",
}  # fmt: skip
_NEW_EACH_TIME = ("competition", "class", "test", "venue", "judges", "date")
_KINDS = ("set", "freestyle", "quality", "eventing")
_MOST_PROFILES = 4_000

Profile = tuple[tuple[str, FieldValue], ...]
"""The fields that a ride has for certain, in the order of their names."""


@dataclass(frozen=True, slots=True)
class Newness:
    """How many of the rides bring a judge, a competition, ... of their own; the others share an old one."""

    judges: int
    competitions: int
    days: int
    tests: int
    venues: int

    @classmethod
    def all_new(cls, rides: int) -> Newness:
        return cls(rides, rides, rides, rides, rides)


def scheme_tests(scheme: Scheme) -> Iterator[FieldTest | BarTest]:
    """Yield every test on a field that a scheme makes anywhere before the ranking."""
    conditions: list[Condition] = [*scheme.eligible, *scheme.season.competitions_where]
    for limit in scheme.limit:
        conditions += limit.where
    for take in scheme.takes():
        conditions += take.plus_all
    for condition in conditions:
        yield from condition.tests()
    yield from requirement_tests(tuple(scheme.all_requirements()))
    yield from step_tests(scheme.score)


def percentages_named(scheme: Scheme) -> set[Fraction]:
    """Return the percentages that a scheme's conditions name."""
    named: set[Fraction] = set()
    for test in scheme_tests(scheme):
        if test.field == "percentage" and isinstance(test, FieldTest):
            named.update(operand for operand in test.operands if isinstance(operand, Fraction))
        elif test.field == "percentage" and isinstance(test, BarTest):
            named.update(test.bar.all_figures())
    return named


def _tables(scheme: Scheme) -> Iterator[Table]:
    for step in inner_steps(scheme.score):
        if isinstance(step, Change) and isinstance(step.by, Table):
            yield step.by
        elif isinstance(step, Linear):
            yield step.slopes
    for test in scheme_tests(scheme):
        if isinstance(test, BarTest):
            yield test.bar


def _named_values(scheme: Scheme) -> dict[str, set[FieldValue]]:
    """Return, by field, every value that the scheme's conditions and tables name."""
    named: dict[str, set[FieldValue]] = {}
    for test in scheme_tests(scheme):
        named.setdefault(test.field, set()).update(test.operands if isinstance(test, FieldTest) else ())
    for table in _tables(scheme):
        for name, value in table.named():
            named.setdefault(name, set()).update({_field_value(name, value)} if value != "*" else ())
    for step in inner_steps(scheme.score):
        if isinstance(step, Take):
            named.setdefault(step.field, set())
    return named


def _field_value(name: str, text: str) -> FieldValue:
    """Turn the text under which a table holds a value back into what the ledger holds.

    >>> _field_value("judge_count", "2"), _field_value("collectives", "54.5"), _field_value("level", "2")
    (2, Fraction(109, 2), '2')
    """
    if name not in NUMBERS:
        return text
    number = Fraction(text)
    return int(number) if number.denominator == 1 else number


def profiles_of(
    scheme: Scheme, *, unit: str, group: GroupKey, latest: Score | None, known: Sequence[Score] = ()
) -> list[Profile]:
    """Return every kind of ride that the scheme tells apart, for a unit in a group.

    Fields of the unit itself (rider, horse, owner, team, division) stay as in its latest score, unless the scheme
    counts them or works by them: then those of its ``known`` scores are tried, and another one. None are returned where
    the scheme tells more kinds of ride apart than can be searched.
    """
    fixed: dict[str, FieldValue] = {"status": "completed", scheme.unit: unit, **dict(group)}
    varied = {
        name: _candidates(name, values, latest=latest)
        for name, values in sorted(_named_values(scheme).items())
        if name not in fixed and name not in (*_OWN_FIELDS, "percentage", "date")
    }
    for name in sorted(worked_by(scheme) - {*fixed, *_NEW_EACH_TIME}):
        seen = {score.value_of(name) for score in known} - {None}
        varied[name] = _seen_candidates(name, {*seen, *_named_values(scheme).get(name, ())})
    for name in _OWN_FIELDS:
        if name not in varied and latest is not None:
            fixed.setdefault(name, latest.value_of(name))
    varied.update(_class_fields(scheme, varied, latest=latest))
    if prod(len(candidates) for candidates in varied.values()) > _MOST_PROFILES:
        return []
    names = list(varied)
    return [
        tuple(sorted({**fixed, **dict(zip(names, values, strict=True))}.items()))
        for values in product(*varied.values())
    ]


def worked_by(scheme: Scheme) -> set[str]:
    """Return the fields by which a scheme limits, makes parts, or counts: there one value is no better than another."""
    names = {field for limit in scheme.limit for field in limit.per}
    if scheme.value is not None and scheme.value.first is not None:
        names.update(scheme.value.first.by)
    counted = {part.count for need in scheme.all_requirements() for part in need.parts()}
    return names | {field for count, field in _COUNTED_FIELDS.items() if count in counted}


def _seen_candidates(name: str, values: set[FieldValue]) -> list[FieldValue]:
    texts = {as_text(value) for value in values} | (set(_KINDS) if name == "kind" else set())
    if name in _BOOLEANS:
        return [True, False]
    return [*sorted(texts, key=natural_key), *([] if name == "kind" else [FRESH])]


def _candidates(name: str, values: set[FieldValue], *, latest: Score | None) -> list[FieldValue]:
    own = None if latest is None else latest.value_of(name)
    if name in _BOOLEANS:
        return [True, False]
    if name in NUMBERS:
        numbers = {value for value in values if isinstance(value, int | Fraction)}
        least = {1} if name in ("placing", "judge_count") else set()
        found = {*numbers, *least, *({own} if isinstance(own, int | Fraction) else ())} or {Fraction(0)}
        if name in ("placing", "starters", "judge_count", "horse_age"):
            found |= {number + 1 for number in numbers}
        return sorted(found)
    return [*sorted((as_text(value) for value in values), key=natural_key), FRESH]


def _class_fields(
    scheme: Scheme, varied: Mapping[str, Sequence[FieldValue]], *, latest: Score | None
) -> dict[str, list[FieldValue]]:
    """Assume a win in a class of the most useful size, where the scheme looks at places at all."""
    sizes: set[int] = set()
    for step in inner_steps(scheme.score):
        if isinstance(step, PlacesByStarters):
            sizes.update(least for least, _, _ in step.tables)
        elif isinstance(step, FromStarters):
            sizes.add(int(step.most))
        elif isinstance(step, RidersBeaten):
            sizes.add(max((latest.starters if latest else None) or 0, 20))
    found: dict[str, list[FieldValue]] = {}
    if "placing" not in varied:
        found["placing"] = [1]
    if sizes and "starters" not in varied:
        found["starters"] = [*sorted(sizes)]
    return found


@dataclass(slots=True)
class Unridden:
    """Makes scores of rides not yet ridden: the days that are left, and the old values that a ride may share."""

    first_day: dt.date
    last_day: dt.date | None
    latest: Score | None

    @property
    def possible(self) -> bool:
        """Tell whether the season has a day left."""
        return self.last_day is None or self.first_day <= self.last_day

    def scores(self, profiles: Sequence[Profile], *, percentage: Fraction, newness: Newness) -> list[Score]:
        """Return one score for each profile, each with this percentage."""
        days = self._days(len(profiles))
        return [
            self._score(
                profile, index, percentage=percentage, day=days[min(index, max(newness.days - 1, 0))], newness=newness
            )
            for index, profile in enumerate(profiles)
        ]

    def _days(self, number: int) -> list[dt.date]:
        """Spread the rides over the days left, a week apart where there is room.

        They begin in the next week, as the unit may have ridden in this one, where there are days for all of them then.
        """
        first = self.first_day + dt.timedelta(days=-self.first_day.weekday() % 7)
        if self.last_day is None:
            return [first + dt.timedelta(days=7 * index) for index in range(number)]
        if (self.last_day - first).days < number - 1:
            first = self.first_day
        room = min((self.last_day - first).days, 7 * (number - 1))
        return [first + dt.timedelta(days=room * index // max(number - 1, 1)) for index in range(number)]

    def _score(self, profile: Profile, index: int, *, percentage: Fraction, day: dt.date, newness: Newness) -> Score:
        values = dict(profile)
        judge_count = values.pop("judge_count", 1)
        fresh = {
            "competition": self._own("competition", index, new=index < newness.competitions),
            "test": self._own("test", index, new=index < newness.tests),
            "venue": self._own("venue", index, new=index < newness.venues),
            "class": f"{FRESH} class {index}",
        }
        for name, value in fresh.items():
            if values.get(name) in (None, FRESH):
                values[name] = value
        if values.get("judges") in (None, FRESH):
            values["judges"] = self._judges(
                index, int(judge_count) if isinstance(judge_count, int | Fraction) else 1, newness
            )
        elif isinstance(values["judges"], str):
            values["judges"] = (values["judges"],)
        extra = tuple((name, as_text(values.pop(name))) for name in sorted(values) if name.startswith("x-"))
        for name in ("level", "pair", "rider", "horse"):
            if values.get(name) == FRESH:
                values[name] = f"{FRESH} {name} {index}"
        values["class_id"] = values.pop("class")
        for name in ("placing", "starters", "horse_age"):
            if isinstance(values.get(name), Fraction):
                values[name] = int(values[name])  # type: ignore[arg-type]
        blank = Score(f"{FRESH} {index}", percentage=percentage, date=day, extra=extra)
        return replace(blank, **values)  # type: ignore[arg-type]

    def _own(self, name: str, index: int, *, new: bool) -> str:
        """Return a new value, or that of the unit's latest ride (of the first new ride, if there is none)."""
        old = None if self.latest is None else self.latest.value_of(name)
        return f"{FRESH} {name} {index}" if new or (old is None and index == 0) else str(old or f"{FRESH} {name} 0")

    def _judges(self, index: int, number: int, newness: Newness) -> tuple[str, ...]:
        old = () if self.latest is None else self.latest.judges
        if index < newness.judges or not old:
            own = index if index < newness.judges else 0
            return tuple(f"{FRESH} judge {own}.{seat}" for seat in range(number))
        return (*old, *(f"{FRESH} judge 0.{seat}" for seat in range(number)))[:number]
