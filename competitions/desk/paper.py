"""The total written on a paper sheet against the one added up from its marks."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import scoring
from competitions.services.differences import typed_total_fault
from scoring.exact import format_exact, parse_decimal


@dataclass(frozen=True, slots=True)
class PaperTotal:
    """``state``: ``none`` (nothing typed), ``agrees``, ``differs``, ``unreadable``; ``difference``: paper less ours."""

    state: str
    difference: str = ""
    sentence: str = ""


NOTHING = PaperTotal("none")


def compare_total(typed: str, summary: scoring.SheetSummary) -> PaperTotal:
    """Compare what was typed from the paper with our points, in the words of the table of differences."""
    typed = read_total(typed)
    if not typed:
        return NOTHING
    points, percentage = (summary.points, summary.percentage) if summary.complete else (None, None)
    fault = typed_total_fault(typed, points=points, percentage=percentage)
    try:
        paper = parse_decimal(typed)
    except ValueError:
        return PaperTotal("unreadable", sentence=fault)
    if points is None:
        return NOTHING
    if not fault:
        return PaperTotal("agrees")
    return PaperTotal("differs", format_exact(paper - Fraction(points)), fault[:1].upper() + fault[1:])


def read_total(typed: str) -> str:
    """Return a typed total as it is kept, a comma written as a point."""
    return typed.strip().replace(",", ".")
