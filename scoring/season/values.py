"""The figure of a unit, from its scores: stage ``value`` of a scheme. Drop, take, combine, add; nothing is rounded."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from math import ceil

from scoring.season.aggregates import aggregate
from scoring.season.choosing import choose_best_set
from scoring.season.conditions import Condition, all_true
from scoring.season.counted import CountedScore
from scoring.season.items import Item, entries_of, items_best_first, items_latest_first, scores_of
from scoring.season.ledger import FieldValue, Score, as_text, natural_key, spoken
from scoring.season.moving import round_number
from scoring.season.requirements import Met, Requirement, all_met, measure_all
from scoring.season.steps import Round
from scoring.season.windows import SeasonFacts

__all__ = ["Bonus", "Drop", "Part", "SeasonNumber", "Take", "ValueRule", "Valued", "work_out_value"]


@dataclass(frozen=True, slots=True)
class SeasonNumber:
    """How many count, where that depends on the competitions of the season (a share is rounded up)."""

    minus: int | None = None
    share: Fraction | None = None
    least: int = 0
    most: int | None = None

    def number(self, facts: SeasonFacts) -> int:
        figure = facts.competitions - (self.minus or 0) if self.share is None else ceil(self.share * facts.competitions)
        figure = max(figure, self.least, 0)
        return figure if self.most is None else min(figure, self.most)


@dataclass(frozen=True, slots=True)
class Take:
    """``value.take``: the best or last so many, or the best set that meets ``must``; ``plus_all`` count on top."""

    how: str
    figure: int | SeasonNumber
    must: tuple[Requirement, ...] = ()
    plus_all: tuple[Condition, ...] = ()

    def number(self, facts: SeasonFacts) -> int:
        return self.figure.number(facts) if isinstance(self.figure, SeasonNumber) else self.figure


@dataclass(frozen=True, slots=True)
class Drop:
    """``drop_lowest``: the worst ``number`` go when there are more than ``when_more_than``."""

    number: int
    when_more_than: int = 0
    protect: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """``value.first``: one number for each value of the fields ``by``, kept exact unless it says ``round``."""

    by: tuple[str, ...]
    aggregate: str
    drop: Drop | None = None
    take: Take | None = None
    round: Round | None = None


@dataclass(frozen=True, slots=True)
class Bonus:
    when: tuple[Requirement, ...]
    amount: Fraction


@dataclass(frozen=True, slots=True)
class ValueRule:
    """The whole of ``value``."""

    aggregate: str
    drop: Drop | None = None
    take: Take | None = None
    first: Part | None = None
    add_per_score: Fraction = Fraction(0)
    add: tuple[Bonus, ...] = ()
    add_field: str | None = None


@dataclass(frozen=True, slots=True)
class Valued:
    """A unit's figure, unrounded; None where there is none. ``feasible`` is False where no set meets ``must``."""

    number: Fraction | None = None
    counted: tuple[CountedScore, ...] = ()
    dropped: dict[str, str] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)
    must: tuple[Met, ...] = ()
    feasible: bool = True
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Unit:
    """What the figure is worked out from, besides the rule: the requirements, the season, which way is better."""

    require: tuple[Requirement, ...]
    facts: SeasonFacts
    ascending: bool


@dataclass(slots=True)
class _Choice:
    """The notes taken while items are dropped and taken."""

    items: list[Item]
    dropped: dict[str, str] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)
    must: tuple[Met, ...] = ()
    feasible: bool = True

    def drop(self, items: Sequence[Item], sentence: str) -> None:
        self.dropped.update((entry.score_id, sentence) for entry in entries_of(items))


def work_out_value(rule: ValueRule, entries: Sequence[CountedScore], *, unit: Unit) -> Valued:
    """Work out the figure of one unit in one group from its scores, as they are after ``limit``."""
    items = [Item(entry.number, entry.merit, (entry,)) for entry in entries]
    notes = _Choice(items)
    if rule.first is not None:
        _first_stage(rule.first, notes, unit=unit)
    _choose(notes, drop=rule.drop, take=rule.take, aggregate_by=rule.aggregate, unit=unit)
    number = None
    if notes.feasible:
        number = aggregate([item.number for item in notes.items], how=rule.aggregate, ascending=unit.ascending)
    counted = tuple(entries_of(notes.items)) if notes.feasible else ()
    number, problem = _with_bonuses(rule, number, counted=counted, entries=entries, unit=unit)
    return Valued(number, counted, notes.dropped, notes.unknown, notes.kept, notes.must, notes.feasible, problem)


def _first_stage(part: Part, notes: _Choice, *, unit: Unit) -> None:
    """Replace the single scores by one item for each value of the part's fields."""
    heaps: dict[tuple[FieldValue, ...], list[Item]] = defaultdict(list)
    for item in notes.items:
        values = tuple(item.entries[0].score.value_of(field) for field in part.by)
        if None in values:
            missing = part.by[values.index(None)]
            notes.unknown[item.entries[0].score_id] = f"its {spoken(missing)} is unknown"
        else:
            heaps[values].append(item)
    parts = []
    for values in sorted(heaps, key=_part_order):
        inner = _Choice(heaps[values])
        _choose(inner, drop=part.drop, take=part.take, aggregate_by=part.aggregate, unit=unit)
        notes.dropped.update(inner.dropped)
        notes.unknown.update(inner.unknown)
        notes.kept.update(inner.kept)
        notes.must, notes.feasible = (*notes.must, *inner.must), notes.feasible and inner.feasible
        number = aggregate([item.number for item in inner.items], how=part.aggregate, ascending=unit.ascending)
        if number is not None:
            parts.append(_part_item(part, number, inner.items, ascending=unit.ascending))
    notes.items = parts


def _part_order(values: tuple[FieldValue, ...]) -> tuple[tuple[tuple[int, int, str], ...], ...]:
    return tuple(natural_key(as_text(value)) for value in values)


def _part_item(part: Part, number: Fraction, items: list[Item], *, ascending: bool) -> Item:
    if part.round is not None:
        number = round_number(number, decimals=part.round.decimals, rounding=part.round.rounding)
    return Item(number, -number if ascending else number, tuple(entries_of(items)))


def _choose(notes: _Choice, *, drop: Drop | None, take: Take | None, aggregate_by: str, unit: Unit) -> None:
    """Drop the worst, then take; what ``plus_all`` names stays out of both and is counted on top."""
    always = _set_apart(notes, take) if take is not None and take.plus_all else []
    if drop is not None:
        _drop_lowest(notes, drop, must=take.must if take else (), always=always, unit=unit)
    if take is not None and take.must:
        _take_set(notes, take, aggregate_by=aggregate_by, always=always, facts=unit.facts)
    elif take is not None:
        _take_plainly(notes, take, facts=unit.facts)
    notes.items = [*notes.items, *always]


def _set_apart(notes: _Choice, take: Take) -> list[Item]:
    always: list[Item] = []
    others: list[Item] = []
    for item in notes.items:
        verdicts = [all_true(take.plus_all, entry.score) for entry in item.entries]
        unknown = next((verdict for verdict in verdicts if verdict.truth is None), None)
        if unknown is not None:
            notes.unknown.update((entry.score_id, unknown.reason) for entry in item.entries)
        else:
            (always if all(verdict.truth for verdict in verdicts) else others).append(item)
    notes.items = others
    return always


def _drop_lowest(
    notes: _Choice, drop: Drop, *, must: tuple[Requirement, ...], always: Sequence[Item], unit: Unit
) -> None:
    if len(notes.items) <= drop.when_more_than:
        return
    remaining = items_best_first(notes.items)
    count = len(remaining)
    gone: list[Item] = []
    for item in reversed(list(remaining)):
        if len(gone) == drop.number:
            break
        rest = [other for other in remaining if other is not item]
        broken = _broken((*unit.require, *must), remaining, rest, always=always, unit=unit) if drop.protect else ""
        if broken:
            sentence = f"It would have been dropped as one of the lowest, but without it the unit lacks {broken}."
            notes.kept.update((entry.score_id, sentence) for entry in item.entries)
        else:
            remaining = rest
            gone.append(item)
    more_than = f"more than {drop.when_more_than} " if drop.when_more_than else ""
    lowest = "The lowest score is" if drop.number == 1 else f"The {drop.number} lowest scores are"
    notes.drop(gone, f"{lowest} dropped where there are {more_than}scores; there are {count}.")
    notes.items = remaining


def _broken(
    needs: Sequence[Requirement], before: Sequence[Item], after: Sequence[Item], *, always: Sequence[Item], unit: Unit
) -> str:
    """Name the first requirement that holds with all of ``before`` and no longer with ``after``; empty if none does."""
    for need in needs:
        if all_met((need,), [*scores_of(before), *scores_of(always)], unit.facts) and not all_met(
            (need,), [*scores_of(after), *scores_of(always)], unit.facts
        ):
            return need.words(unit.facts)
    return ""


def _take_plainly(notes: _Choice, take: Take, *, facts: SeasonFacts) -> None:
    number = take.number(facts)
    if take.how == "last":
        undated = [item for item in notes.items if item.day is None]
        notes.unknown.update((entry.score_id, "its date is unknown") for entry in entries_of(undated))
        ordered = items_latest_first([item for item in notes.items if item.day is not None])
    else:
        ordered = items_best_first(notes.items)
    notes.drop(ordered[number:], f"Only the {take.how} {number} of {len(ordered)} count.")
    notes.items = ordered[:number]


def _take_set(notes: _Choice, take: Take, *, aggregate_by: str, always: Sequence[Item], facts: SeasonFacts) -> None:
    number, besides = take.number(facts), scores_of(always)
    chosen = choose_best_set(
        notes.items, number=number, must=take.must, aggregate_by=aggregate_by, facts=facts, besides=always
    )
    words = "; ".join(need.words(facts) for need in take.must)
    if chosen is None:
        notes.must = (*notes.must, *measure_all(take.must, [*besides, *scores_of(notes.items)], facts))
        notes.feasible = False
        notes.drop(
            [*notes.items, *always], f"No {number} of the scores together meet what those taken must meet: {words}."
        )
        return
    taken = set(map(id, chosen))
    notes.drop(
        [item for item in notes.items if id(item) not in taken],
        f"It is not among the best {number} that together meet what those taken must meet: {words}.",
    )
    notes.must = (*notes.must, *measure_all(take.must, [*besides, *scores_of(chosen)], facts))
    notes.items = chosen


def _with_bonuses(
    rule: ValueRule,
    number: Fraction | None,
    *,
    counted: Sequence[CountedScore],
    entries: Sequence[CountedScore],
    unit: Unit,
) -> tuple[Fraction | None, str]:
    if number is None:
        return None, ""
    number = number + rule.add_per_score * len(counted)
    scores = [entry.score for entry in entries]
    for bonus in rule.add:
        if all_met(bonus.when, scores, unit.facts):
            number = number + bonus.amount
    if rule.add_field is None:
        return number, ""
    figure = _latest_figure(scores, rule.add_field)
    if figure is None:
        return None, f"The {spoken(rule.add_field)} that the scheme adds is unknown."
    return number + figure, ""


def _latest_figure(scores: Sequence[Score], name: str) -> Fraction | None:
    """Return a number of the unit itself, such as the horse's age: the one that its latest score with it tells."""
    known = [score for score in scores if score.value_of(name) is not None]
    if not known:
        return None
    latest = max(known, key=lambda score: (score.date or date.min, natural_key(score.score_id)))
    value = latest.value_of(name)
    return Fraction(value) if isinstance(value, int | Fraction) else None
