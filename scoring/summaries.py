"""One sheet added up for a page while its marks are keyed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from scoring.classes import ClassDocument, Deduction, Entry, Seat, Sheet
from scoring.documents import InvalidDocument, Reader
from scoring.entry_reader import read_deduction
from scoring.figures import Frame
from scoring.rulesets import RuleSet
from scoring.testsheets import Test

__all__ = ["SheetSummary", "sheet_summary"]


@dataclass(frozen=True, slots=True)
class SheetSummary:
    """The figures of one sheet as text; those of an incomplete one are over the items marked so far.

    ``points / maximum x 100`` is ``percentage`` where the sheet has one part; None before the first mark.
    """

    points: str
    maximum: str
    percentage: str | None
    complete: bool
    missing: tuple[str, ...]


def sheet_summary(
    test: Test,
    rules: RuleSet,
    marks: Mapping[str, int | None],
    *,
    errors: int = 0,
    deductions: Iterable[Deduction | Mapping[str, object]] = (),
    parts: Collection[str] | None = None,
) -> SheetSummary:
    """Add up one sheet: ``marks`` in tenths by item, None or absent where missing.

    ``deductions`` are :class:`scoring.Deduction` or objects as in ``class/1``; only what comes off a sheet is looked
    at, whichever seat it names. ``parts`` are those that the seat marks, None for all. A mark off its scale or of an
    unknown item raises ``ValueError``.

    >>> from scoring import read_rules, read_test
    >>> test = read_test({"format": "test/1", "id": "t", "mark": {"min": "0", "max": "10", "step": "0.5"},
    ...                   "items": [{"id": "1"}, {"id": "2", "coefficient": "2"}]})
    >>> rules = read_rules({"format": "rules/1", "id": "r", "sheet_percentage": {"decimals": 3},
    ...                     "total": {"method": "mean", "decimals": 3}})
    >>> sheet_summary(test, rules, {"1": 65})
    SheetSummary(points='6.5', maximum='10', percentage='65.000', complete=False, missing=('2',))
    """
    for item_id, mark in marks.items():
        if item_id not in test.positions:
            raise ValueError(f'The test has no item "{item_id}". Take its mark out.')
        if mark is not None and mark not in test.item(item_id).scale:
            raise ValueError(f"Mark {mark} (in tenths) for {test.item(item_id).label} is not on its scale.")
    seat = Seat("", None if parts is None else tuple(parts))
    entry = Entry("", "running", errors=errors, deductions=tuple(map(_for_this_sheet, deductions)))
    frame = Frame(ClassDocument("", "", test, rules, None, (seat,), (entry,)))
    values = tuple(marks.get(item.id) if seat.marks(item) else None for item in test.items)
    figures = frame.sheet(entry, frame.seats[""], Sheet(values))
    missing = tuple(item.id for item, mark in zip(test.items, values, strict=True) if mark is None and seat.marks(item))
    if figures is None:
        return SheetSummary("0", "0", None, not missing, missing)
    return SheetSummary(
        points=frame.points_text(figures.points or 0),
        maximum=frame.points_text(figures.maximum or 0),
        percentage=frame.percent_text(figures.percentage),
        complete=not missing,
        missing=missing,
    )


def _for_this_sheet(deduction: Deduction | Mapping[str, object]) -> Deduction:
    if isinstance(deduction, Mapping):
        reader = Reader.over(deduction)
        deduction = read_deduction(reader)
        if reader.problems:
            raise InvalidDocument(reader.problems)
    return Deduction(deduction.off, deduction.amount, None, deduction.part, deduction.reason)
