"""What the class desk shows: every ride in running order, and how far each seat's sheet has come."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

import scoring
from competitions.desk.consequences import what_was_ridden
from competitions.desk.paper import NOTHING, PaperTotal, compare_total
from competitions.models import ClassResults, CompetitionClass, Entry, PanelSeat, ResultRow, Sheet
from competitions.selectors.summaries import summary_of

NOT_RIDING = frozenset({Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW})
SHEETS_OPTIONAL = NOT_RIDING | {Entry.Status.ELIMINATED, Entry.Status.RETIRED}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One seat's sheet of one entry.

    ``state``: ``missing``, ``incomplete``, ``differs`` (from the total on the paper), ``unsigned`` or ``complete``; the
    first that applies, in this order. ``not-needed`` where the ride did not end in a result and there is no sheet,
    ``partial`` where there is one with gaps, which may stay. ``unsigned`` only where the competition asks for it.
    """

    seat: str
    state: str
    word: str
    points: str = ""
    percentage: str = ""
    gaps: int = 0
    signed: bool = False
    paper: PaperTotal = NOTHING


@dataclass(frozen=True, slots=True, kw_only=True)
class Ride:
    entry: Entry
    ride_time: datetime | None
    cells: tuple[Cell, ...]
    placing: int | None
    shared: bool
    total: str
    so_far: str
    in_ring: bool
    said: str

    @property
    def expected(self) -> bool:
        """Whether sheets are still waited for."""
        return self.entry.status not in SHEETS_OPTIONAL


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    cls: CompetitionClass
    seats: tuple[PanelSeat, ...]
    rides: tuple[Ride, ...]
    problem: str
    sheets_in: int
    sheets_expected: int
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def in_ring(self) -> Ride | None:
        return next((ride for ride in self.rides if ride.in_ring), None)

    @property
    def next_ride(self) -> Ride | None:
        """The ride to call in: the first that has not been ridden, after the one in the ring if there is one."""
        waiting = [i for i, ride in enumerate(self.rides) if ride.entry.status == Entry.Status.ENTERED]
        current = next((i for i, ride in enumerate(self.rides) if ride.in_ring), -1)
        later = [i for i in waiting if i > current]
        return self.rides[(later or waiting)[0]] if waiting else None

    @property
    def previous_ride(self) -> Ride | None:
        """The ride before the one in the ring."""
        current = next((i for i, ride in enumerate(self.rides) if ride.in_ring), None)
        if current is None:
            return None
        earlier = [ride for ride in self.rides[:current] if ride.entry.status not in NOT_RIDING]
        return earlier[-1] if earlier else None


def overview_of(cls: CompetitionClass) -> Overview:
    """Read a class for its desk with a number of queries that does not grow with its entries."""
    seats = tuple(cls.seats.select_related("judge"))
    entries = list(cls.entries.select_related("pair__rider", "pair__horse").order_by("order", "number", "pk"))
    sheets = {(s.entry_id, s.seat_id): s for s in Sheet.objects.filter(entry__competition_class=cls)}
    rows = {row.entry_id: row for row in ResultRow.objects.filter(entry__competition_class=cls)}
    results = ClassResults.objects.filter(competition_class=cls).first()
    rides = tuple(_ride(cls, entry, seats, sheets, rows.get(entry.pk)) for entry in entries)
    expected = [cell for ride in rides if ride.expected for cell in ride.cells]
    counts: dict[str, int] = {}
    for cell in expected:
        counts[cell.state] = counts.get(cell.state, 0) + 1
    return Overview(
        cls=cls,
        seats=seats,
        rides=rides,
        problem=results.problem if results else "",
        sheets_in=sum(1 for cell in expected if cell.state not in {"missing", "incomplete"}),
        sheets_expected=len(expected),
        counts=counts,
    )


def _ride(
    cls: CompetitionClass,
    entry: Entry,
    seats: Iterable[PanelSeat],
    sheets: dict[tuple[int, int], Sheet],
    row: ResultRow | None,
) -> Ride:
    entry.competition_class = cls
    cells = tuple(cell_of(cls, entry, seat, sheets.get((entry.pk, seat.pk))) for seat in seats)
    document = row.document if row else {}
    return Ride(
        entry=entry,
        ride_time=entry.ride_time.astimezone(cls.competition.zone) if entry.ride_time else None,
        cells=cells,
        placing=row.placing if row else None,
        shared=row.shared if row else False,
        total=document.get("total") or "",
        so_far=document.get("so_far") or "",
        in_ring=cls.in_ring_id == entry.pk,
        said=what_was_ridden(cls, entry),
    )


def cell_of(cls: CompetitionClass, entry: Entry, seat: PanelSeat, sheet: Sheet | None) -> Cell:
    """Say how far one seat's sheet of one entry has come."""
    if sheet is None or not (sheet.marks or sheet.given_result):
        if entry.status in SHEETS_OPTIONAL:
            return Cell(seat=seat.seat, state="not-needed", word="not needed")
        return Cell(seat=seat.seat, state="missing", word="missing")
    if sheet.given_result is not None:
        return _given_cell(seat, sheet, signed=sheet.signed or not cls.competition.sheets_signed)
    sheet.entry, sheet.seat = entry, seat
    summary = summary_of(sheet, competition_class=cls)
    paper = compare_total(sheet.typed_total, summary)
    state, word = _state(summary, paper, signed=sheet.signed or not cls.competition.sheets_signed)
    if state == "incomplete" and entry.status in SHEETS_OPTIONAL:
        state = "partial"
    return Cell(
        seat=seat.seat,
        state=state,
        word=word,
        points=summary.points,
        percentage=summary.percentage or "",
        gaps=len(summary.missing),
        signed=sheet.signed,
        paper=paper,
    )


def _state(summary: scoring.SheetSummary, paper: PaperTotal, *, signed: bool) -> tuple[str, str]:
    gaps = len(summary.missing)
    if gaps:
        return "incomplete", f"{gaps} {'gap' if gaps == 1 else 'gaps'}"
    if paper.state in {"differs", "unreadable"}:
        return "differs", "total differs" if signed else "total differs, unsigned"
    if not signed:
        return "unsigned", "unsigned"
    return "complete", "complete"


def _given_cell(seat: PanelSeat, sheet: Sheet, *, signed: bool) -> Cell:
    given = sheet.given_result or {}
    return Cell(
        seat=seat.seat,
        state="complete" if signed else "unsigned",
        word="result only" if signed else "result only, unsigned",
        points=given.get("points", ""),
        percentage=given.get("percentage", ""),
        signed=sheet.signed,
    )
