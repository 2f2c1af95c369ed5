"""What a unit must have ridden: stage ``require`` of a scheme; ``take.must``, tiers and bonuses ask in the same way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from scoring.documents import Reader
from scoring.season.conditions import BarTest, Condition, FieldTest, all_true, conditions_in_words, read_conditions
from scoring.season.ledger import Score, number_text
from scoring.season.matching import most_matched
from scoring.season.windows import SeasonFacts

__all__ = ["AnyOf", "Met", "Need", "Requirement", "all_met", "measure_all", "read_requirements", "supplies"]


def _competition_class(score: Score) -> str | None:
    return None if score.class_id is None else f"{score.competition or ''}\0{score.class_id}"


def _week(score: Score) -> str | None:
    if score.date is None:
        return None
    year, week, _ = score.date.isocalendar()
    return f"{year}-{week}"


def _day(score: Score) -> str | None:
    return None if score.date is None else score.date.isoformat()


COUNTS: Mapping[str, Callable[[Score], str | None]] = {
    "scores": lambda score: score.score_id,
    "judges": lambda score: ";".join(score.judges) or None,
    "competitions": lambda score: score.competition,
    "dates": _day,
    "tests": lambda score: score.test,
    "levels": lambda score: score.level,
    "classes": _competition_class,
    "venues": lambda score: score.venue,
    "weekends": _week,
    "pairs": lambda score: score.pair,
    "riders": lambda score: score.rider,
    "horses": lambda score: score.horse,
}
"""What can be counted, with the value that one score supplies. A class is one class at one competition."""


@dataclass(frozen=True, slots=True)
class Met:
    """How far a requirement is met: one line of ``requirements`` in ``standings/1``.

    ``most`` is set instead of ``need`` where there may be no more than so many. ``options`` are those of ``any_of``.
    """

    count: str
    have: int | str
    need: int | str
    met: bool
    most: int | None = None
    options: tuple[Met, ...] = ()
    sentence: str = ""

    def as_dict(self) -> dict[str, object]:
        if self.options:
            return {self.count: [option.as_dict() for option in self.options], "met": self.met}
        bound = {"need": self.need} if self.most is None else {"at_most": self.most}
        return {"count": self.count, "have": self.have, **bound, "met": self.met}


@dataclass(frozen=True, slots=True)
class Need:
    """``{"count": ..., "at_least": n}``, at most n, or a share of the season's competitions, rounded up."""

    count: str
    least: int | None = None
    most: int | None = None
    share: Fraction | None = None
    where: tuple[Condition, ...] = ()

    def needed(self, facts: SeasonFacts) -> int:
        if self.share is not None:
            return ceil(self.share * facts.competitions)
        return self.least or 0

    def have(self, scores: Iterable[Score]) -> int:
        """Count what the scores supply; a score whose ``where`` is not known supplies nothing."""
        fitting = [score for score in scores if all_true(self.where, score).truth] if self.where else list(scores)
        if self.count == "scores":
            return len(fitting)
        if self.count == "judges":
            return most_matched([score.judges for score in fitting])
        value_of = COUNTS[self.count]
        return len({value for score in fitting if (value := value_of(score)) is not None})

    def measure(self, scores: Sequence[Score], facts: SeasonFacts) -> Met:
        return self.judge(iter([self.have(scores)]), facts)

    def judge(self, have_each: Iterator[int], facts: SeasonFacts) -> Met:
        """Say how far it is met, given what the scores supply to each of its ``parts``, in their order."""
        have = next(have_each)
        if self.most is not None:
            return Met(self.count, have, 0, have <= self.most, self.most, sentence=self.words(facts))
        need = self.needed(facts)
        return Met(self.count, have, need, have >= need, sentence=self.words(facts))

    def words(self, facts: SeasonFacts | None = None) -> str:
        if self.share is not None and facts is None:
            bound = (
                f"as many {self.count} as {number_text(self.share * 100)} % of the season's competitions, rounded up"
            )
        else:
            figure = self.most if self.most is not None else self.needed(facts or SeasonFacts())
            noun = SINGULAR[self.count] if figure == 1 else self.count
            bound = f"{'at most' if self.most is not None else 'at least'} {figure} {noun}"
        return f"{bound} where {conditions_in_words(self.where)}" if self.where else bound

    def parts(self) -> Iterator[Need]:
        yield self


SINGULAR = {name: {"classes": "class"}.get(name, name.removesuffix("s")) for name in COUNTS}


@dataclass(frozen=True, slots=True)
class AnyOf:
    """``any_of``: one of these requirements is enough."""

    options: tuple[Requirement, ...]

    def measure(self, scores: Sequence[Score], facts: SeasonFacts) -> Met:
        return self.judge(iter([part.have(scores) for part in self.parts()]), facts)

    def judge(self, have_each: Iterator[int], facts: SeasonFacts) -> Met:
        """Say how far it is met, given what the scores supply to each of its ``parts``, in their order."""
        options = tuple(option.judge(have_each, facts) for option in self.options)
        met = any(option.met for option in options)
        return Met("any_of", 0, 0, met, options=options, sentence=self.words(facts))

    def words(self, facts: SeasonFacts | None = None) -> str:
        return ", or ".join(option.words(facts) for option in self.options)

    def parts(self) -> Iterator[Need]:
        for option in self.options:
            yield from option.parts()


@dataclass(frozen=True, slots=True)
class AllOf:
    """A list of requirements standing where one may stand: all of them."""

    options: tuple[Requirement, ...]

    def measure(self, scores: Sequence[Score], facts: SeasonFacts) -> Met:
        return self.judge(iter([part.have(scores) for part in self.parts()]), facts)

    def judge(self, have_each: Iterator[int], facts: SeasonFacts) -> Met:
        """Say how far it is met, given what the scores supply to each of its ``parts``, in their order."""
        options = tuple(option.judge(have_each, facts) for option in self.options)
        return Met("all_of", 0, 0, all(option.met for option in options), options=options, sentence=self.words(facts))

    def words(self, facts: SeasonFacts | None = None) -> str:
        return " and ".join(option.words(facts) for option in self.options)

    def parts(self) -> Iterator[Need]:
        for option in self.options:
            yield from option.parts()


Requirement = Need | AnyOf | AllOf


def measure_all(needs: tuple[Requirement, ...], scores: Sequence[Score], facts: SeasonFacts) -> tuple[Met, ...]:
    """Measure every requirement on the same scores, in the order of the scheme."""
    return tuple(need.measure(scores, facts) for need in needs)


def all_met(needs: tuple[Requirement, ...], scores: Sequence[Score], facts: SeasonFacts) -> bool:
    """Tell whether the scores meet every requirement.

    >>> all_met((Need("scores", 2),), [Score("s1"), Score("s2")], SeasonFacts())
    True
    """
    return all(need.measure(scores, facts).met for need in needs)


def supplies(need: Need, score: Score) -> frozenset[str]:
    """Return what a score can supply to a requirement: one value of these; nothing where ``where`` is not true."""
    if not all_true(need.where, score).truth:
        return frozenset()
    if need.count == "judges":
        return frozenset(score.judges)
    value = COUNTS[need.count](score)
    return frozenset() if value is None else frozenset({value})


def requirement_tests(needs: tuple[Requirement, ...]) -> Iterator[FieldTest | BarTest]:
    """Yield every test on a field that the requirements make."""
    for need in needs:
        for part in need.parts():
            for condition in part.where:
                yield from condition.tests()


def read_requirements(reader: Reader, key: str, *, most_allowed: bool = True) -> tuple[Requirement, ...]:
    """Read the list of requirements under ``key``; a single one may stand without its list."""
    raw = reader.raw(key)
    if raw is None:
        return ()
    items = raw if isinstance(raw, list) else [raw]
    read = []
    for index, item in enumerate(items):
        path = f"{reader.at(key)}[{index}]" if isinstance(raw, list) else reader.at(key)
        part = Reader.over(item, path=path, problems=reader.problems)
        requirement = _read_requirement(part, most_allowed=most_allowed) if part.usable else None
        if requirement is not None:
            read.append(requirement)
    return tuple(read)


def _read_requirement(part: Reader, *, most_allowed: bool) -> Requirement | None:
    if "any_of" in part.value:
        return _read_any_of(part, most_allowed=most_allowed)
    count = part.take_choice("count", tuple(COUNTS), required=True)
    bounds = ("at_least", "at_most", "share_of_competitions") if most_allowed else ("at_least", "share_of_competitions")
    least = part.take_int("at_least", least=0)
    most = part.take_int("at_most", least=0) if most_allowed else None
    share = part.take_decimal("share_of_competitions", least=0, most=1)
    where = read_conditions(part, "where")
    part.finish()
    if sum(part.has(bound) for bound in bounds) != 1:
        part.problem(None, f"A requirement has one bound. Give exactly one of: {', '.join(bounds)}.")
        return None
    return Need(count, least, most, share, where) if count else None


def _read_any_of(part: Reader, *, most_allowed: bool) -> Requirement | None:
    options: list[Requirement] = []
    for index, raw in enumerate(part.take_list("any_of", required=True)):
        path = f"{part.at('any_of')}[{index}]"
        if isinstance(raw, list):
            inner = Reader({"all_of": raw}, path, part.problems)
            if not raw:
                part.problem(f"any_of[{index}]", "There is no requirement inside. Give at least one, or remove it.")
            group = read_requirements(inner, "all_of", most_allowed=most_allowed)
            options.append(AllOf(group))
            continue
        option = Reader.over(raw, path=path, problems=part.problems)
        read = _read_requirement(option, most_allowed=most_allowed) if option.usable else None
        if read is not None:
            options.append(read)
    part.finish()
    if not options:
        part.problem("any_of", "There is no requirement inside. Give at least one.")
        return None
    return AnyOf(tuple(options))
