"""A season rule as data: ``scheme/1``, read whole, with every fault and its path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from scoring.documents import InvalidDocument, Problem, Reader, describe, load_json
from scoring.exact import Rounding
from scoring.season.afterwards import After, KeepHighest, OnePer, read_after
from scoring.season.conditions import Condition, known_field, read_conditions
from scoring.season.limits import Limit, read_fields, read_limits
from scoring.season.requirements import Requirement, read_requirements
from scoring.season.step_reading import read_steps
from scoring.season.steps import FromStarters, Places, PlacesByStarters, RidersBeaten, Steps, inner_steps
from scoring.season.steps import Take as TakeField
from scoring.season.thresholds import Threshold, read_threshold
from scoring.season.ties import Tie, read_ties
from scoring.season.value_reading import read_value
from scoring.season.values import SeasonNumber, Take, ValueRule
from scoring.season.windows import Season, read_season

__all__ = ["Scheme", "Tier", "is_too_deep", "read_scheme", "read_with_problems"]

MODES = ("rank", "qualify", "achieve")
_MOST_NESTED = 60


@dataclass(frozen=True, slots=True)
class Tier:
    """One tier of ``mode: achieve``, such as gold, with what it asks for."""

    name: str
    require: tuple[Requirement, ...]


@dataclass(frozen=True, slots=True)
class Scheme:
    """A season rule. Its stages stand in the order in which a score passes through them; see ``formats-season.md``."""

    id: str
    unit: str
    title: str = ""
    sources: tuple[str, ...] = ()
    mode: str = "rank"
    group_by: tuple[str, ...] = ()
    season: Season = field(default_factory=Season)
    eligible: tuple[Condition, ...] = ()
    rerank: tuple[str, ...] = ()
    score: Steps = ()
    limit: tuple[Limit, ...] = ()
    require: tuple[Requirement, ...] = ()
    tiers: tuple[Tier, ...] = ()
    value: ValueRule | None = None
    decimals: int = 3
    rounding: Rounding = Rounding.HALF_UP
    ascending: bool = False
    threshold: Threshold | None = None
    ties: tuple[Tie, ...] = ()
    after: tuple[After, ...] = ()

    @property
    def needs_shared_places(self) -> bool:
        """Tell whether a score's number depends on who else holds its place."""
        return any(
            isinstance(step, RidersBeaten)
            or (isinstance(step, Places | PlacesByStarters | FromStarters) and step.shared != "same")
            for step in inner_steps(self.score)
        )

    @property
    def works_by_places(self) -> bool:
        """Tell whether a score's number depends on its place."""
        return any(
            isinstance(step, Places | PlacesByStarters | FromStarters | RidersBeaten)
            or (isinstance(step, TakeField) and step.field == "placing")
            for step in inner_steps(self.score)
        )

    @property
    def needs_season_facts(self) -> bool:
        """Tell whether anything depends on the number of competitions in the season."""
        if any(part.share is not None for need in self.all_requirements() for part in need.parts()):
            return True
        return any(isinstance(take.figure, SeasonNumber) for take in self.takes())

    @property
    def looks_at_others(self) -> bool:
        """Tell whether a unit's value or requirements depend on the rides of other units: then these are needed too."""
        counted = self.needs_season_facts and self.season.competitions is None
        return bool(self.rerank) or self.needs_shared_places or counted

    @property
    def ranks_across_tables(self) -> bool:
        """Tell whether a unit's place in one table depends on its place in another."""
        return any(isinstance(step, KeepHighest) for step in self.after)

    def takes(self) -> Iterator[Take]:
        """Yield what the value takes, in its first stage and after."""
        if self.value is not None:
            first = self.value.first.take if self.value.first is not None else None
            yield from (take for take in (first, self.value.take) if take is not None)

    def all_requirements(self) -> Iterator[Requirement]:
        """Yield every requirement, wherever it stands."""
        yield from self.require
        for tier in self.tiers:
            yield from tier.require
        for take in self.takes():
            yield from take.must
        for bonus in self.value.add if self.value is not None else ():
            yield from bonus.when

    @property
    def fields_after(self) -> tuple[str, ...]:
        """The fields of a unit that the ``after`` steps look at."""
        return tuple(step.field for step in self.after if isinstance(step, OnePer))


def read_scheme(document: object) -> Scheme:
    """Read a scheme from parsed JSON (``scoring.documents.load_json``) or from its text.

    Raises :class:`~scoring.documents.InvalidDocument` with every problem and its path; unknown keys are problems.

    >>> read_scheme({"format": "scheme/1", "id": "means", "unit": "pair", "value": {"aggregate": "mean"}}).mode
    'rank'
    """
    if isinstance(document, str | bytes):
        document = load_json(document)
    scheme, problems = read_with_problems(document)
    if problems:
        raise InvalidDocument(problems)
    return scheme


def read_with_problems(document: object) -> tuple[Scheme, tuple[Problem, ...]]:
    """Read what can be read of a scheme, with every problem; the scheme may be used only where there is none.

    >>> _, problems = read_with_problems({"format": "scheme/1", "id": "means", "unit": "pair"})
    >>> [problem.path for problem in problems]
    ['value']
    """
    if is_too_deep(document):
        message = f"The rule is nested more than {_MOST_NESTED} deep, which nobody can follow. Write it flatter."
        return Scheme("", ""), (Problem("scheme", message),)
    if not isinstance(document, Mapping):
        message = f"Here stands {describe(document)}, but a scheme is an object in braces. Give the whole rule."
        return Scheme("", ""), (Problem("scheme", message),)
    reader = Reader.over(document)
    scheme = _read(reader)
    return scheme, tuple(reader.problems)


def is_too_deep(document: object) -> bool:
    """Tell whether lists and objects stand so deep in each other that no scheme can be meant; readers recurse.

    >>> is_too_deep([[[]]])
    False
    """
    level = [document]
    for _ in range(_MOST_NESTED + 1):
        level = [
            inner
            for outer in level
            if isinstance(outer, list | Mapping)
            for inner in (outer.values() if isinstance(outer, Mapping) else outer)
        ]
    return bool(level)


def _read(reader: Reader) -> Scheme:
    reader.take_choice("format", ("scheme/1",), required=True)
    mode = reader.take_choice("mode", MODES, default="rank")
    group_by = read_fields(reader, "group_by")
    ascending = reader.take_choice("order", ("descending", "ascending"), default="descending") == "ascending"
    decimals = reader.take_int("decimals", default=3, most=9)
    scheme = Scheme(
        id=reader.take_text("id", required=True, empty=False),
        unit=_read_unit(reader),
        title=reader.take_text("title"),
        sources=_read_sources(reader),
        mode=mode,
        group_by=group_by,
        season=read_season(reader),
        eligible=read_conditions(reader, "eligible"),
        rerank=read_fields(reader, "rerank"),
        score=read_steps(reader, "score"),
        limit=read_limits(reader),
        require=read_requirements(reader, "require"),
        tiers=_read_tiers(reader),
        value=read_value(reader),
        decimals=3 if decimals is None else decimals,
        rounding=Rounding(reader.take_choice("rounding", tuple(Rounding), default=Rounding.HALF_UP)),
        ascending=ascending,
        threshold=read_threshold(reader, ascending=ascending, group_by=group_by),
        ties=read_ties(reader),
        after=read_after(reader, group_by=group_by),
    )
    reader.finish()
    _check_whole(scheme, reader)
    return scheme


def _check_whole(scheme: Scheme, reader: Reader) -> None:
    """Report what is wrong between the keys."""
    if scheme.mode == "rank" and not reader.has("value"):
        reader.problem("value", "A ranking needs a value. Say under value how the figure of a unit is worked out.")
    if scheme.mode == "achieve" and reader.raw("tiers") in (None, []):
        reader.problem("tiers", "This mode needs tiers. Give each tier a name and what it asks for.")
    if scheme.mode != "achieve" and reader.has("tiers"):
        reader.problem("tiers", 'Tiers belong to "mode": "achieve". Change the mode or remove them.')
    if reader.has("threshold") and not reader.has("value"):
        reader.problem("threshold", "A threshold compares the value, but the scheme has none. Give value as well.")
    if scheme.unit in scheme.group_by:
        reader.problem("group_by", f'The unit "{scheme.unit}" cannot divide the tables as well. Remove it here.')


def _read_unit(reader: Reader) -> str:
    unit = reader.take_text("unit", required=True, empty=False)
    numeric = ("judges", "percentage", "date", "score_id")
    if unit and (not known_field(unit) or unit in numeric or unit == "judge_count"):
        reader.problem("unit", f'"{unit}" cannot be ranked. Name pair, rider, horse, team or another ledger field.')
    return unit


def _read_sources(reader: Reader) -> tuple[str, ...]:
    sources = reader.take_list("sources")
    for index, source in enumerate(sources):
        if not isinstance(source, str):
            reader.problem(f"sources[{index}]", "A source is a text: the rule book, the page, its address.")
    return tuple(str(source) for source in sources)


def _read_tiers(reader: Reader) -> tuple[Tier, ...]:
    tiers: list[Tier] = []
    for part in reader.objects("tiers"):
        tier = Tier(part.take_text("name", required=True, empty=False), read_requirements(part, "require"))
        if part.raw("require") in (None, []):
            part.problem("require", "The tier asks for nothing. Give its requirements.")
        part.finish()
        if tier.name in {other.name for other in tiers}:
            part.problem("name", f'The tier "{tier.name}" stands twice. Give each tier a name of its own.')
        tiers.append(tier)
    return tuple(tiers)
