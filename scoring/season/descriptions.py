"""A scheme in plain sentences, for the volunteer who has to check that it says what the rule book says."""

from __future__ import annotations

from scoring.season.ledger import spoken
from scoring.season.scheme import Scheme
from scoring.season.steps import (
    Constant,
    FromStarters,
    Places,
    PlacesByStarters,
    RidersBeaten,
    Take,
    steps_in_words,
)
from scoring.season.value_reading import value_in_words

__all__ = ["describe_scheme"]

_MODES = {
    "rank": "Each {unit} is ranked",
    "qualify": "The list shows which {unit} has met the requirements; there are no places",
    "achieve": "Each {unit} reaches the first of these tiers whose requirements it meets: {tiers}",
}
_ROUNDING = {
    "half-up": "an exact half is rounded up",
    "half-even": "an exact half is rounded to the even figure",
    "down": "what is left over is cut",
}

_STARTS_ANEW = (Take, Constant, Places, PlacesByStarters, FromStarters, RidersBeaten)
"""Steps that do not look at the number before them: with one of these first, the percentage is not where it begins."""


def describe_scheme(scheme: Scheme) -> list[str]:
    """Say in plain sentences, in the order in which a score passes through them, what a scheme does.

    >>> from scoring.season.scheme import read_scheme
    >>> means = read_scheme({"format": "scheme/1", "id": "m", "unit": "pair", "value": {"aggregate": "mean"}})
    >>> describe_scheme(means)[3]
    'The value is the mean of the scores that count.'
    """
    sentences = [_opening(scheme), scheme.season.words()]
    sentences += [f"A score counts only if {condition.words()}." for condition in scheme.eligible]
    if scheme.rerank:
        among = " and ".join(map(spoken, scheme.rerank))
        sentences.append(f"Places and starters are counted again among the eligible scores of each {among}.")
    if scheme.score and scheme.score != (Take("percentage"),):
        start = "" if isinstance(scheme.score[0], _STARTS_ANEW) else ", to begin with its percentage"
        sentences.append(f"Each score is given a number{start}: {steps_in_words(scheme.score)}.")
    else:
        sentences.append("Each score counts with its percentage.")
    sentences += [f"{limit.words()}." for limit in scheme.limit]
    sentences += [f"To qualify, a {spoken(scheme.unit)} needs {need.words()}." for need in scheme.require]
    for tier in scheme.tiers:
        sentences.append(f"{tier.name}: {'; '.join(need.words() for need in tier.require)}.")
    if scheme.needs_season_facts:
        sentences.append(scheme.season.competitions_words())
    return [*sentences, *_value_sentences(scheme), *_placing_sentences(scheme)]


def _opening(scheme: Scheme) -> str:
    tiers = ", ".join(tier.name for tier in scheme.tiers)
    opening = _MODES[scheme.mode].format(unit=spoken(scheme.unit), tiers=tiers)
    tables = (
        f", in one table for each {' and '.join(map(spoken, scheme.group_by))}" if scheme.group_by else ", in one table"
    )
    return f"{opening}{tables if scheme.mode == 'rank' else ''}."


def _value_sentences(scheme: Scheme) -> list[str]:
    if scheme.value is None:
        return []
    sentences = value_in_words(scheme.value)
    decimals = "1 decimal" if scheme.decimals == 1 else f"{scheme.decimals} decimals"
    sentences.append(f"It is rounded once, to {decimals}; {_ROUNDING[scheme.rounding.value]}.")
    if scheme.threshold is not None:
        sentences.append(scheme.threshold.words())
    return sentences


def _placing_sentences(scheme: Scheme) -> list[str]:
    if scheme.mode != "rank":
        return [step.words() for step in scheme.after]
    sentences = [f"The {'lowest' if scheme.ascending else 'highest'} value wins."]
    sentences += [f"Equal values are split by {tie.words()}." for tie in scheme.ties]
    if scheme.ties:
        sentences.append("What remains equal shares the place.")
    return [*sentences, *(step.words() for step in scheme.after)]
