"""One sheet in figures: points, percentage, gaps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import scoring
from competitions.models import CompetitionClass, Sheet
from competitions.selectors.documents import rules_of, test_of
from scoring.exact import format_exact


def is_full(sheet: Sheet, items: Sequence[scoring.Item]) -> bool:
    """Tell whether a sheet has its result: every item marked, or points or a percentage given."""
    return sheet.given_result is not None or all(item.id in sheet.marks for item in items)


def summary_of(sheet: Sheet, *, competition_class: CompetitionClass | None = None) -> scoring.SheetSummary:
    """Return points, maximum, percentage and gaps of one sheet, with the entry's errors and deductions taken off."""
    competition_class = competition_class or sheet.entry.competition_class
    test = test_of(competition_class)
    if sheet.given_result is not None:
        return _given_summary(sheet.given_result, test)
    return scoring.sheet_summary(
        test,
        rules_of(competition_class),
        sheet.marks,
        errors=sheet.entry.errors,
        deductions=[
            deduction for deduction in sheet.entry.deductions if deduction.get("seat") in {None, sheet.seat.seat}
        ],
        parts=sheet.seat.parts or None,
    )


def _given_summary(given: Mapping[str, str], test: scoring.Test) -> scoring.SheetSummary:
    return scoring.SheetSummary(
        points=given.get("points", ""),
        maximum=format_exact(test.maximum),
        percentage=given.get("percentage"),
        complete=True,
        missing=(),
    )
