"""``rules/1``: how marks become placings, as data. No country and no association is known here."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import MappingProxyType

from scoring.documents import InvalidDocument, Reader, describe, take_format
from scoring.exact import Rounding, format_exact
from scoring.testsheets import DEFAULT_PART

__all__ = ["Errors", "Outliers", "Penalty", "RuleSet", "TieStep", "read_rules", "rule_sets", "rules_from"]

TIE_STEPS: Mapping[str, str | None] = MappingProxyType(
    {
        "collectives": None,
        "coefficient-items": None,
        "item": "item",
        "part": "part",
        "median": None,
        "seat": "seat",
        "collectives-at": "seat",
    }
)
_MOST_DECIMALS = 9
_MOST_TIE_STEPS = 20


@dataclass(frozen=True, slots=True)
class Errors:
    """What errors of course cost: ``off`` is ``sheet-points`` or ``total-percentage``."""

    off: str
    steps: tuple[Fraction, ...] = ()
    eliminated_at: int | None = None

    def cost(self, errors: int) -> Fraction:
        """Add up the steps for so many errors; an error beyond the last step costs the last step again.

        >>> two_then_four = Errors("sheet-points", (Fraction(2), Fraction(4)), 3)
        >>> [int(two_then_four.cost(errors)) for errors in (0, 1, 2, 3)]
        [0, 2, 6, 10]
        """
        if not self.steps:
            return Fraction(0)
        return sum(self.steps[:errors], Fraction(0)) + max(0, errors - len(self.steps)) * self.steps[-1]

    def eliminate(self, errors: int) -> bool:
        return self.eliminated_at is not None and errors >= self.eliminated_at


@dataclass(frozen=True, slots=True)
class TieStep:
    """One step that may separate equal totals; ``argument`` is the item, part or seat that it looks at."""

    by: str
    argument: str = ""


@dataclass(frozen=True, slots=True)
class Penalty:
    factor: Fraction
    decimals: int


@dataclass(frozen=True, slots=True)
class Outliers:
    limit: Fraction
    min_sheets: int


@dataclass(frozen=True, slots=True)
class RuleSet:
    """How marks become placings; the fields are the keys of ``rules/1``."""

    id: str
    title: str = ""
    sources: tuple[str, ...] = ()
    sheet_decimals: int | None = None
    method: str = "mean"
    decimals: int = 3
    rounding: Rounding = Rounding.HALF_UP
    parts: Mapping[str, Fraction] = field(default_factory=dict)
    errors: Errors | None = None
    ties: tuple[TieStep, ...] = ()
    tie_places: int | None = None
    minimum_for_place: Fraction | None = None
    penalty: Penalty | None = None
    outliers: Outliers | None = None
    hors_concours: str = "listed"


def read_rules(document: object) -> RuleSet:
    """Read a ``rules/1`` document; raise :class:`InvalidDocument` with every problem in it.

    ``id``, ``sheet_percentage`` and ``total`` must be given, since they decide places; ``rounding`` is ``half-up`` and
    ``hors_concours`` is ``listed`` unless said; everything else that is left out does not apply.

    >>> rules = read_rules({"format": "rules/1", "id": "r", "sheet_percentage": {"decimals": 3},
    ...                     "total": {"method": "mean", "decimals": 3}})
    >>> rules.rounding.value, rules.errors
    ('half-up', None)
    """
    reader = Reader.over(document)
    rules = rules_from(reader)
    if reader.problems or rules is None:
        raise InvalidDocument(reader.problems)
    return rules


def rules_from(reader: Reader) -> RuleSet | None:
    """Read a rule set inside another document, adding to the shared problems; None when it cannot be used."""
    if not reader.usable:
        return None
    before = len(reader.problems)
    take_format(reader, "rules/1")
    total = reader.take_object("total", required=True) or Reader.over({}, problems=[])
    sheet = reader.take_object("sheet_percentage", required=True) or Reader.over({}, problems=[])
    parts = _parts_from(reader)
    rules = RuleSet(
        id=reader.take_text("id", required=True, empty=False),
        title=reader.take_text("title"),
        sources=_sources_from(reader),
        sheet_decimals=sheet.take_int("decimals", most=_MOST_DECIMALS),
        method=total.take_choice("method", ("mean", "points"), required=True, default="mean"),
        decimals=total.take_int("decimals", required=True, most=_MOST_DECIMALS) or 0,
        rounding=Rounding(reader.take_choice("rounding", tuple(Rounding), default="half-up")),
        parts=parts,
        errors=_errors_from(reader),
        ties=_ties_from(reader, parts),
        tie_places=reader.take_int("tie_places", least=1),
        minimum_for_place=reader.take_decimal("minimum_for_place", least=0, most=100),
        penalty=_penalty_from(reader),
        outliers=_outliers_from(reader),
        hors_concours=reader.take_choice("hors_concours", ("listed", "hidden"), default="listed"),
    )
    if reader.has("sheet_percentage") and sheet.usable and "decimals" not in sheet.value:
        sheet.problem("decimals", '"decimals" is missing. Give a whole number, or null to keep percentages exact.')
    for child in (total, sheet):
        child.finish()
    _check_together(reader, rules)
    reader.finish()
    return rules if len(reader.problems) == before else None


def _check_together(reader: Reader, rules: RuleSet) -> None:
    if rules.method == "points" and rules.parts:
        reader.problem(
            "total.method", 'The method "points" cannot weigh parts. Use the method "mean", or leave "parts" out.'
        )
    if rules.method == "points" and rules.outliers:
        reader.problem("outliers", 'Outliers move percentages, which the method "points" never uses. Use "mean".')
    if rules.parts and rules.errors and rules.errors.off == "sheet-points" and DEFAULT_PART not in rules.parts:
        reader.problem(
            "errors.off",
            'Errors in points come off the part "technical", which "parts" does not name. Use "total-percentage".',
        )


def _sources_from(reader: Reader) -> tuple[str, ...]:
    sources = reader.take_list("sources")
    for index, source in enumerate(sources):
        if not isinstance(source, str):
            reader.problem(f"sources[{index}]", f"Here stands {describe(source)}. Give a text in quotation marks.")
    return tuple(source for source in sources if isinstance(source, str))


def _parts_from(reader: Reader) -> Mapping[str, Fraction]:
    child = reader.take_object("parts")
    if child is None:
        return {}
    weights = {}
    for name in child.value:
        weight = child.take_decimal(name, required=True, most=1000)
        if weight is not None and weight <= 0:
            child.problem(name, f'The weight of "{name}" is {format_exact(weight)}, but must be above 0.')
        weights[name] = weight or Fraction(1)
    if not weights:
        reader.problem("parts", '"parts" is empty. Name each part with its weight, or leave "parts" out.')
    return weights


def _errors_from(reader: Reader) -> Errors | None:
    child = reader.take_object("errors")
    if child is None:
        return None
    off = child.take_choice("off", ("sheet-points", "total-percentage"), required=True, default="sheet-points")
    steps = _decimals_from(child, "steps")
    eliminated_at = child.take_int("eliminated_at", least=1)
    child.finish()
    return Errors(off, steps, eliminated_at)


def _decimals_from(reader: Reader, key: str) -> tuple[Fraction, ...]:
    values = reader.take_list(key, required=True)
    steps = Reader({str(index): value for index, value in enumerate(values)}, reader.at(key), [])
    found = [steps.take_decimal(name, required=True, least=0, most=1000) for name in steps.value]
    for problem in steps.problems:
        index = problem.path.rpartition(".")[2]
        reader.problem(f"{key}[{index}]", problem.message.replace(f'"{index}" is', f"Step {int(index) + 1} is", 1))
    return tuple(value for value in found if value is not None)


def _ties_from(reader: Reader, parts: Mapping[str, Fraction]) -> tuple[TieStep, ...]:
    if len(reader.take_list("ties")) > _MOST_TIE_STEPS:
        reader.problem("ties", f"There are more than {_MOST_TIE_STEPS} steps. Keep those that the rule names.")
        return ()
    return tuple(_tie_from(child, parts) for child in reader.objects("ties"))


def _tie_from(reader: Reader, parts: Mapping[str, Fraction]) -> TieStep:
    by = reader.take_choice("by", tuple(TIE_STEPS), required=True)
    key = TIE_STEPS.get(by)
    argument = reader.take_text(key, required=True, empty=False) if key else ""
    if by == "part" and parts and argument and argument not in parts:
        reader.problem("part", f'The rule set has no part "{argument}". Give one of: {", ".join(parts)}.')
    reader.finish(known=() if by else ("item", "part", "seat"))
    return TieStep(by, argument)


def _penalty_from(reader: Reader) -> Penalty | None:
    child = reader.take_object("penalty")
    if child is None:
        return None
    factor = child.take_decimal("factor", required=True, most=1000)
    if factor is not None and factor <= 0:
        child.problem("factor", f'"factor" is {format_exact(factor)}, but must be above 0.')
    decimals = child.take_int("decimals", required=True, most=_MOST_DECIMALS)
    child.finish()
    return Penalty(factor or Fraction(1), decimals or 0)


def _outliers_from(reader: Reader) -> Outliers | None:
    child = reader.take_object("outliers")
    if child is None:
        return None
    limit = child.take_decimal("limit", required=True, most=100)
    if limit is not None and limit <= 0:
        child.problem("limit", f'"limit" is {format_exact(limit)}, but must be above 0.')
    min_sheets = child.take_int("min_sheets", required=True, least=2)
    child.finish()
    return Outliers(limit or Fraction(1), min_sheets or 2)


def rule_sets() -> Mapping[str, dict[str, object]]:
    """Return the shipped rule sets by id: documents, each with its sources, which the caller may change."""
    return MappingProxyType({name: json.loads(text) for name, text in _shipped().items()})


@cache
def _shipped() -> Mapping[str, str]:
    paths = sorted((Path(__file__).parent / "rules").glob("*.json"))
    return {path.stem: path.read_text(encoding="utf-8") for path in paths}
