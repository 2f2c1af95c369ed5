"""One entry worked out by itself, before it is placed among the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scoring.classes import Entry
from scoring.figures import Frame, Percent, SheetFigures
from scoring.outliers import Move, moved_outliers
from scoring.totals import Total, part_totals, penalty_of, total_of

__all__ = ["ELIMINATED_BY_ERRORS", "Ride", "ride_of"]

ELIMINATED_BY_ERRORS = "errors of course"


@dataclass(slots=True)
class Ride:
    """An entry with its figures; ``counted`` are the sheets' percentages after outliers were moved.

    ``total`` is that of a completed ride; of a running one it is what the marks so far come to.
    """

    entry: Entry
    status: str
    reason: str | None
    sheets: Mapping[str, SheetFigures]
    counted: Mapping[str, Percent]
    moves: list[Move]
    total: Total | None
    parts: Mapping[str, int]
    penalty: int | None

    @property
    def completed(self) -> bool:
        return self.status == "completed"

    @property
    def competes(self) -> bool:
        return self.status == "completed" and not self.entry.hors_concours


def ride_of(frame: Frame, entry: Entry) -> Ride:
    """Work out one entry. Too many errors of course eliminate a ride that is completed or still running."""
    status, reason = entry.status, entry.reason or None
    errors = frame.rules.errors
    if entry.errors and errors is not None and status in ("completed", "running") and errors.eliminate(entry.errors):
        status, reason = "eliminated", ELIMINATED_BY_ERRORS
    sheets = {}
    for name, seat in frame.seats.items():
        sheet = entry.sheets.get(name)
        figures = None if sheet is None else frame.sheet(entry, seat, sheet)
        if figures is not None and (figures.full or status == "running"):
            sheets[name] = figures
    counted = {name: figures.percentage for name, figures in sheets.items()}
    if status not in ("completed", "running"):
        return Ride(entry, status, reason, sheets, counted, [], None, {}, None)
    moves: list[Move] = []
    if frame.rules.outliers is not None and status == "completed":
        moves = moved_outliers(counted, frame.rules.outliers, percent_unit=frame.percent_unit)
        counted.update((move.seat, move.moved_to) for move in moves)
    total = total_of(frame, entry, sheets, counted)
    parts = part_totals(frame, sheets) if frame.rules.parts else {}
    penalty = penalty_of(frame, total.units) if total is not None and status == "completed" else None
    return Ride(entry, status, reason, sheets, counted, moves, total, parts, penalty)
