"""What a rule set will do, in plain sentences made from its data."""

from __future__ import annotations

from collections.abc import Iterator

from scoring.exact import format_exact
from scoring.rulesets import Errors, RuleSet, TieStep

__all__ = ["describe_rules"]

_ROUNDING = {
    "half-up": "An exact half is rounded up.",
    "half-even": "An exact half is rounded to the even figure.",
    "down": "Figures are cut, never rounded up.",
}


def describe_rules(ruleset: RuleSet) -> list[str]:
    """Say in plain sentences what a rule set does, in the order in which it does it.

    >>> from scoring import read_rules, rule_sets
    >>> for sentence in describe_rules(read_rules(rule_sets()["points-errors-collectives"])):
    ...     print(sentence)
    Each sheet's percentage is rounded to 3 decimals.
    The total is the mean of the sheets' percentages, rounded to 3 decimals.
    An exact half is rounded up.
    The first error of course costs 2 points, the second 4 points more, off every sheet. The third eliminates.
    Equal totals are parted by the collective marks, the higher first. What stays equal shares the place.
    Rides hors concours are listed after the placed entries, without a place.
    """
    return list(_sentences(ruleset))


def _sentences(rules: RuleSet) -> Iterator[str]:
    yield from _percentages(rules)
    yield _ROUNDING[rules.rounding.value]
    yield from _errors(rules)
    if rules.outliers is not None:
        yield (
            f"Where an entry has {rules.outliers.min_sheets} sheets or more, a sheet that differs by "
            f"{format_exact(rules.outliers.limit)} or more from the mean of the others is moved to the nearest other."
        )
    if rules.penalty is not None:
        factor = "" if rules.penalty.factor == 1 else f", times {format_exact(rules.penalty.factor)}"
        yield (
            f"The penalty is 100 less the total{factor}, rounded to {_decimals(rules.penalty.decimals)}. "
            "The lowest penalty wins."
        )
    yield _ties(rules)
    if rules.minimum_for_place is not None:
        yield f"A total below {format_exact(rules.minimum_for_place)} per cent is listed without a place."
    if rules.hors_concours == "hidden":
        yield "Rides hors concours are left out of the published list."
    else:
        yield "Rides hors concours are listed after the placed entries, without a place."


def _percentages(rules: RuleSet) -> Iterator[str]:
    decimals = _decimals(rules.decimals)
    if rules.sheet_decimals is None:
        yield "Each sheet's percentage is kept exact."
    else:
        yield f"Each sheet's percentage is rounded to {_decimals(rules.sheet_decimals)}."
    if rules.parts:
        weights = ", ".join(f"{name} {format_exact(weight)}" for name, weight in rules.parts.items())
        yield f"A sheet is the mean of its parts, weighed {weights}; each part is rounded as a sheet is."
        yield (
            "Where seats mark different parts, each part is averaged over the seats that mark it and rounded to "
            f"{decimals}, and the parts are then weighed."
        )
    if rules.method == "points":
        yield f"The total is all points of all sheets over all their maxima, as one percentage rounded to {decimals}."
    else:
        yield f"The total is the mean of the sheets' percentages, rounded to {decimals}."


def _errors(rules: RuleSet) -> Iterator[str]:
    errors = rules.errors
    if errors is None or not (errors.steps or errors.eliminated_at):
        yield "Errors of course cost nothing."
        return
    limit = errors.eliminated_at
    end = "" if limit is None else f"The {_ordinal(limit)} eliminates."
    if errors.steps and limit != 1:
        yield f"{_costs(errors)} {end}".strip()
        if rules.parts and errors.off == "sheet-points":
            yield "Errors in points come off the part technical."
    else:
        yield end.replace("The first", "The first error of course") if limit == 1 else _only_elimination(limit)


def _only_elimination(limit: int | None) -> str:
    return f"Errors of course cost nothing until the {_ordinal(limit or 1)}, which eliminates."


def _costs(errors: Errors) -> str:
    points = errors.off == "sheet-points"
    unit, where = ("points", "off every sheet") if points else ("per cent", "once off the total")
    number = len(errors.steps) if errors.eliminated_at is None else min(len(errors.steps), errors.eliminated_at - 1)
    texts = [f"{format_exact(step)} {unit}" for step in errors.steps[:number]]
    said = [f"The first error of course costs {texts[0]}"]
    said.extend(f"the {_ordinal(index)} {text} more" for index, text in enumerate(texts[1:], start=2))
    last = number + 1
    further = errors.eliminated_at is None or errors.eliminated_at > last
    more = f", each further one {texts[-1]} more" if further else ""
    return f"{', '.join(said)}{more}, {where}."


def _ties(rules: RuleSet) -> str:
    figures = "penalties" if rules.penalty is not None else "totals"
    if not rules.ties:
        return f"Equal {figures} share the place, and the next place is skipped."
    where = ""
    if rules.tie_places is not None:
        where = " for first place" if rules.tie_places == 1 else f" for places 1 to {rules.tie_places}"
    steps = ", then ".join(map(_step, rules.ties))
    return f"Equal {figures}{where} are parted by {steps}, the higher first. What stays equal shares the place."


def _step(step: TieStep) -> str:
    return {
        "collectives": "the collective marks",
        "coefficient-items": "the movements with a coefficient above 1",
        "item": f"item {step.argument}",
        "part": f"the {step.argument} part",
        "median": "the median of the sheets",
        "seat": f"the percentage of seat {step.argument}",
    }.get(step.by, f"the collective marks of seat {step.argument}")


def _decimals(number: int) -> str:
    return "a whole number" if number == 0 else f"{number} decimal{'' if number == 1 else 's'}"


def _ordinal(number: int) -> str:
    words = ("first", "second", "third", "fourth", "fifth", "sixth")
    return words[number - 1] if number <= len(words) else f"{number}th"
