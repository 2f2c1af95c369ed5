"""The total written on a paper sheet against the one added up from its marks."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import scoring
from scoring.exact import format_exact, parse_decimal


@dataclass(frozen=True, slots=True)
class PaperTotal:
    """``state``: ``none`` (nothing typed), ``agrees``, ``differs``, ``unreadable``; ``difference``: paper less ours."""

    state: str
    difference: str = ""
    sentence: str = ""


NOTHING = PaperTotal("none")


def compare_total(typed: str, summary: scoring.SheetSummary) -> PaperTotal:
    """Compare what was typed from the paper with our points; the percentage in place of the points agrees too."""
    typed = typed.strip().replace(",", ".")
    if not typed:
        return NOTHING
    try:
        paper = parse_decimal(typed)
    except ValueError:
        return PaperTotal(
            "unreadable", sentence=f'"{typed}" is not a total. Enter the points of the paper, such as 186.5.'
        )
    if not summary.complete:
        return NOTHING
    ours = Fraction(summary.points)
    if paper == ours or (summary.percentage and paper == Fraction(summary.percentage)):
        return PaperTotal("agrees")
    difference = format_exact(paper - ours)
    points = "1 point" if abs(paper - ours) == 1 else f"{difference.lstrip('-')} points"
    more = "more" if paper > ours else "less"
    return PaperTotal(
        "differs",
        difference,
        f"The paper says {typed}, our marks add up to {summary.points}: the paper has {points} {more}.",
    )


def read_total(typed: str) -> str:
    """Return a typed total as it is kept, a comma written as a point."""
    return typed.strip().replace(",", ".")
