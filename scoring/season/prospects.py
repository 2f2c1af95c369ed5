"""What a unit's season would come to with some rides added, as an exact function of the percentage they reach.

The season's own stages run on a moving percentage (see ``moving``), so that each answer holds, exactly, on a whole
stretch of percentages: there the requirements stand as they are and the figure is one straight line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from scoring.season.admission import counted_score
from scoring.season.assessment import Assessment, Published, assess, publish
from scoring.season.conditions import all_true
from scoring.season.counted import CountedScore
from scoring.season.hypothetical import Newness, Profile, Unridden
from scoring.season.ledger import Score
from scoring.season.moving import Moving, Trail, slope_of
from scoring.season.rows import GroupKey
from scoring.season.scheme import Scheme
from scoring.season.tables import UnknownFigure
from scoring.season.windows import SeasonFacts

__all__ = ["GRID", "STEPS", "Prospect", "Stretch"]

GRID = 1000
STEPS = 100 * GRID
"""Percentages are looked at in steps of 0.001, from 0 to 100; a step is a whole number up to this one."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Steps ``first`` to ``last`` on which the answer stands; ``at_first`` and ``slope`` (per step) give the figure."""

    first: int
    last: int
    met: bool
    at_first: Fraction | None
    slope: Fraction

    def figure(self, step: int) -> Fraction | None:
        return None if self.at_first is None else self.at_first + self.slope * (step - self.first)

    def continues(self, earlier: Stretch) -> bool:
        """Tell whether this is the same straight line as the stretch before it."""
        return earlier.met == self.met and earlier.slope == self.slope and earlier.figure(self.first) == self.at_first


@dataclass(frozen=True, slots=True)
class Prospect:
    """A unit in a group as it stands, and what rides may be added."""

    scheme: Scheme
    group: GroupKey
    entries: Sequence[CountedScore]
    facts: SeasonFacts
    unridden: Unridden

    def assess_with(
        self, profiles: Sequence[Profile], *, percentage: Fraction, newness: Newness | None = None
    ) -> Assessment:
        """Assess the unit with one ride for each profile, all with this percentage."""
        newness = newness or Newness.all_new(len(profiles))
        rides = self.unridden.scores(profiles, percentage=percentage, newness=newness)
        added = [entry for ride in rides if (entry := self.counted(ride)) is not None]
        return assess(self.scheme, [*self.entries, *added], facts=self.facts_with(rides))

    def counted(self, ride: Score) -> CountedScore | None:
        """Give a ride its number, or None where it would not count."""
        if not all_true(self.scheme.eligible, ride).truth:
            return None
        try:
            return counted_score(self.scheme, ride)
        except UnknownFigure:
            return None

    def facts_with(self, rides: Sequence[Score]) -> SeasonFacts:
        """Count the new competitions too, where the association has not said how many there are."""
        season = self.scheme.season
        if season.competitions is not None or not self.scheme.needs_season_facts:
            return self.facts
        names = {ride.competition for ride in rides if all_true(season.competitions_where, ride).truth} - {None}
        return SeasonFacts(self.facts.competitions + len(names - self.facts.held))

    def published(self, number: Fraction | None) -> Published:
        return publish(self.scheme, number, group=self.group)

    def qualifies(self, profiles: Sequence[Profile], *, step: int, newness: Newness | None = None) -> bool:
        """Tell whether the unit qualifies with these rides at one percentage (as a step)."""
        assessment = self.assess_with(profiles, percentage=Fraction(step, GRID), newness=newness)
        return assessment.met and self.published(assessment.valued.number).met

    def stretches(self, profiles: Sequence[Profile]) -> Iterator[Stretch]:
        """Yield the stretches from 0 to 100 per cent, in order; where two meet, neighbours differ."""
        step = 0
        pending: Stretch | None = None
        while step <= STEPS:
            found = self._stretch_at(profiles, step)
            step = found.last + 1
            if pending is None:
                pending = found
            elif found.continues(pending):
                pending = Stretch(pending.first, found.last, pending.met, pending.at_first, pending.slope)
            elif pending.first == pending.last and _leads_into(pending, found):
                pending = Stretch(pending.first, found.last, found.met, pending.at_first, found.slope)
            else:
                yield pending
                pending = found
        if pending is not None:
            yield pending

    def _stretch_at(self, profiles: Sequence[Profile], step: int) -> Stretch:
        trail = Trail(Fraction(step, GRID))
        moving = Moving(trail.at, slope=Fraction(1), trail=trail)
        assessment = self.assess_with(profiles, percentage=moving)
        number = assessment.valued.number
        last = STEPS if trail.next_turn is None else min(STEPS, ceil(trail.next_turn * GRID) - 1)
        if trail.pinned:
            last = step
        figure = None if number is None else Fraction(number.numerator, number.denominator)
        slope = Fraction(0) if number is None else slope_of(number) / GRID
        return Stretch(step, last, assessment.met, figure, slope)

    def lowest_step(self, profiles: Sequence[Profile]) -> int | None:
        """Return the lowest percentage (as a step) at which the unit qualifies with these rides; None if at none."""
        for stretch in self.stretches(profiles):
            if stretch.met:
                found = self._lowest_in(stretch)
                if found is not None:
                    return found
        return None

    def _lowest_in(self, stretch: Stretch) -> int | None:
        """Find where the threshold is met first: the figure moves one way only on a stretch."""
        if self.published(stretch.figure(stretch.first)).met:
            return stretch.first
        if not self.published(stretch.figure(stretch.last)).met:
            return None
        low, high = stretch.first, stretch.last
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.published(stretch.figure(middle)).met else (middle, high)
        return high


def _leads_into(point: Stretch, after: Stretch) -> bool:
    """Tell whether a single step lies on the line of the stretch that follows it."""
    return point.met == after.met and point.at_first is not None and point.at_first + after.slope == after.at_first
