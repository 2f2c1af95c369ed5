"""Reading ``value`` of ``scheme/1``, and saying it in words."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from scoring.documents import Reader, describe
from scoring.season.aggregates import AGGREGATES
from scoring.season.conditions import conditions_in_words, read_conditions
from scoring.season.ledger import NUMBERS, number_text, spoken
from scoring.season.limits import read_fields
from scoring.season.requirements import read_requirements
from scoring.season.step_reading import read_round
from scoring.season.values import Bonus, Drop, Part, SeasonNumber, Take, ValueRule

__all__ = ["read_value", "value_in_words"]


def read_value(reader: Reader) -> ValueRule | None:
    """Read ``value``; ``None`` where the scheme gives none."""
    part = reader.take_object("value")
    if part is None:
        return None
    rule = ValueRule(
        aggregate=part.take_choice("aggregate", AGGREGATES, required=True, default="mean"),
        drop=_read_drop(part),
        take=_read_take(part),
        first=_read_first(part),
        add_per_score=part.take_decimal("add_per_score") or Fraction(0),
        add=_read_bonuses(part),
        add_field=part.take_choice("add_field", NUMBERS) or None,
    )
    part.finish()
    return rule


def _read_drop(part: Reader) -> Drop | None:
    inner = part.take_object("drop_lowest")
    if inner is None:
        return None
    number = inner.take_int("number", default=1, least=1)
    drop = Drop(number or 1, inner.take_int("when_more_than", default=0) or 0, inner.take_bool("protect"))
    inner.finish()
    return drop


def _read_take(part: Reader) -> Take | None:
    inner = part.take_object("take")
    if inner is None:
        return None
    names = [name for name in ("best", "last") if name in inner.value]
    must = read_requirements(inner, "must", most_allowed=False)
    plus_all = read_conditions(inner, "plus_all")
    figure = _read_figure(inner, names[0]) if names else 1
    inner.finish(known=names)
    if len(names) != 1:
        inner.problem(None, "Give either best or last, with the number of scores that count.")
    elif must and names[0] == "last":
        inner.problem("must", "Requirements on the scores taken need the best ones. Use best instead of last.")
    return Take(names[0] if names else "best", figure, must, plus_all)


def _read_figure(inner: Reader, name: str) -> int | SeasonNumber:
    if not isinstance(inner.raw(name), Mapping):
        return inner.take_int(name, required=True, least=1, most=1000) or 1
    number = inner.take_object(name)
    if number is None:
        return 1
    figure = SeasonNumber(
        minus=number.take_int("competitions_minus", least=0),
        share=number.take_decimal("share_of_competitions", least=0, most=1),
        least=number.take_int("at_least", default=0) or 0,
        most=number.take_int("at_most", least=1),
    )
    number.finish()
    if (figure.minus is None) == (figure.share is None):
        number.problem(None, "Give either competitions_minus or share_of_competitions.")
    return figure


def _read_first(part: Reader) -> Part | None:
    inner = part.take_object("first")
    if inner is None:
        return None
    by = read_fields(inner, "by", required=True)
    first = Part(
        by=by,
        aggregate=inner.take_choice("aggregate", AGGREGATES, required=True, default="mean"),
        drop=_read_drop(inner),
        take=_read_take(inner),
        round=read_round(inner, "round"),
    )
    if inner.has("by") and not by and isinstance(inner.raw("by"), list):
        inner.problem(
            "by", f"A first stage is worked out per field, but here is {describe(inner.raw('by'))} without one."
        )
    inner.finish()
    return first


def _read_bonuses(part: Reader) -> tuple[Bonus, ...]:
    bonuses = []
    for inner in part.objects("add"):
        amount = inner.take_decimal("amount", required=True)
        when = read_requirements(inner, "when")
        if inner.raw("when") in (None, []):
            inner.problem("when", "There is no requirement. Give the one that earns the bonus.")
        inner.finish()
        if amount is not None:
            bonuses.append(Bonus(when, amount))
    return tuple(bonuses)


_COMBINED = {"mean": "the mean", "median": "the median", "sum": "the sum", "best": "the best", "count": "the number"}


def value_in_words(rule: ValueRule) -> list[str]:
    """Say in sentences how the value is worked out."""
    sentences = []
    if rule.first is not None:
        by = " and ".join(map(spoken, rule.first.by))
        sentences += _choice_in_words(rule.first.drop, rule.first.take, of=f"scores of each {by}")
        rounded = f", rounded to {rule.first.round.decimals} decimals" if rule.first.round else ""
        sentences.append(f"For each {by} one number is made: {_COMBINED[rule.first.aggregate]} of its scores{rounded}.")
    of = "scores" if rule.first is None else "numbers"
    sentences += _choice_in_words(rule.drop, rule.take, of=of)
    sentences.append(f"The value is {_COMBINED[rule.aggregate]} of the {of} that count.")
    if rule.add_per_score:
        sentences.append(f"{number_text(rule.add_per_score)} is added for each score that counts.")
    for bonus in rule.add:
        when = " and ".join(need.words() for need in bonus.when)
        sentences.append(f"{number_text(bonus.amount)} is added for {when}.")
    if rule.add_field is not None:
        sentences.append(f"The {spoken(rule.add_field)} is added.")
    return sentences


def _choice_in_words(drop: Drop | None, take: Take | None, *, of: str) -> list[str]:
    sentences = []
    if drop is not None:
        lowest = "the lowest goes" if drop.number == 1 else f"the {drop.number} lowest go"
        more = f" where there are more than {drop.when_more_than}" if drop.when_more_than else ""
        kept = ", but none without which a requirement would fail" if drop.protect else ""
        sentences.append(f"Of the {of} {lowest}{more}{kept}.")
    if take is not None:
        sentences.append(f"Of the {of} the {take.how} {_figure_in_words(take.figure)} count.")
        sentences += [f"Those taken must have {need.words()}." for need in take.must]
        if take.plus_all:
            sentences.append(f"Those where {conditions_in_words(take.plus_all)} always count, on top.")
    return sentences


def _figure_in_words(figure: int | SeasonNumber) -> str:
    if isinstance(figure, int):
        return str(figure)
    if figure.share is not None:
        words = f"{number_text(figure.share * 100)} % of the season's competitions (rounded up)"
    else:
        words = f"as many as the season has competitions, less {figure.minus}"
    if figure.least:
        words += f", at least {figure.least}"
    return words + (f", at most {figure.most}" if figure.most is not None else "")
