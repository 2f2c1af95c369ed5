"""What the class desk shows: every ride in running order, and how far each seat's sheet has come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, NamedTuple
from urllib.parse import quote

from django.db.models.fields.json import KeyTextTransform
from django.urls import reverse

import scoring
from competitions.desk.paper import NOTHING, PaperTotal, compare_total
from competitions.models import ClassResults, CompetitionClass, Entry, PanelSeat, ResultRow, Sheet
from competitions.selectors.consequences import what_was_ridden
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.keyings import DIFFERS, WAITING, keyings_of_class
from competitions.selectors.summaries import summary_of

NOT_RIDING = frozenset({Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW})
SHEETS_OPTIONAL = NOT_RIDING | {Entry.Status.ELIMINATED, Entry.Status.RETIRED}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One seat's sheet of one entry.

    ``state``: ``missing``, ``incomplete``, ``differs`` (from the total on the paper), ``unsigned``, ``keyings`` (its
    two keyings differ), ``waiting`` (for its second keying) or ``complete``; the first that applies, in this order.
    ``not-needed`` where the ride did not end in a result and there is no sheet, ``partial`` where there is one with
    gaps, which may stay. ``unsigned`` only where the competition asks for it.
    """

    seat: str
    state: str
    word: str
    points: str = ""
    percentage: str = ""
    gaps: int = 0
    signed: bool = False
    paper: PaperTotal = NOTHING

    @property
    def figure(self) -> str:
        return self.percentage or (f"{self.points} p." if self.points else "\N{EN DASH}")

    @property
    def spoken(self) -> str:
        return f"{self.word}, {self.percentage} per cent" if self.percentage else self.word


class SheetColumns(NamedTuple):
    """What a cell needs of a sheet."""

    entry_id: int
    seat_id: int
    marks: dict[str, int]
    given_result: dict[str, str] | None
    typed_total: str
    signed: bool


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
    url: str

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
    problem = ClassResults.objects.filter(competition_class=cls).values_list("problem", flat=True).first() or ""
    reading = _Reading(cls, seats, problem=problem)
    rides = tuple(reading.ride(entry) for entry in entries)
    expected = [cell for ride in rides if ride.expected for cell in ride.cells]
    counts: dict[str, int] = {}
    for cell in expected:
        counts[cell.state] = counts.get(cell.state, 0) + 1
    return Overview(
        cls=cls,
        seats=seats,
        rides=rides,
        problem=problem,
        sheets_in=sum(1 for cell in expected if cell.state not in {"missing", "incomplete"}),
        sheets_expected=len(expected),
        counts=counts,
    )


class _Reading:
    """The sheets and the stored results of a class, read once for all its rides."""

    def __init__(self, cls: CompetitionClass, seats: Iterable[PanelSeat], *, problem: str) -> None:
        self.cls, self.seats, self.problem = cls, tuple(seats), problem
        self.url = reverse("desk-class", args=[cls.competition.slug, cls.number])
        test = test_of(cls)
        self.items = {seat.pk: tuple(item.id for item in items_of_seat(test, seat)) for seat in self.seats}
        columns = Sheet.objects.filter(entry__competition_class=cls).order_by().values_list(*SheetColumns._fields)
        self.sheets = {(sheet.entry_id, sheet.seat_id): sheet for sheet in map(SheetColumns._make, columns)}
        self.keyings = {(row.entry.pk, row.seat.pk): row.state for row in keyings_of_class(cls)}
        rows = ResultRow.objects.filter(entry__competition_class=cls).order_by()
        # Read as text: read as JSON, a database would make a float of "64.300".
        so_far = KeyTextTransform("so_far", "document")
        self.rows: dict[int, Mapping[str, Any]] = {
            row["entry_id"]: row
            for row in rows.values("entry_id", "placing", "shared", "total", "document__sheets", so_far=so_far)
        }

    def ride(self, entry: Entry) -> Ride:
        entry.competition_class = self.cls
        row = self.rows.get(entry.pk, {})
        # The rows of a class that cannot be computed are those of before: its sheets are added up by themselves.
        stored = {} if self.problem else row.get("document__sheets") or {}
        return Ride(
            entry=entry,
            ride_time=entry.ride_time.astimezone(self.cls.competition.zone) if entry.ride_time else None,
            cells=tuple(self._cell(entry, seat, stored.get(seat.seat)) for seat in self.seats),
            placing=row.get("placing"),
            shared=row.get("shared", False),
            total=row.get("total", ""),
            so_far=row.get("so_far") or "",
            in_ring=self.cls.in_ring_id == entry.pk,
            said=what_was_ridden(self.cls, entry) if entry.errors or entry.deductions else "",
            url=f"{self.url}{quote(entry.number)}/",
        )

    def _cell(self, entry: Entry, seat: PanelSeat, stored: Mapping[str, Any] | None) -> Cell:
        sheet = self.sheets.get((entry.pk, seat.pk))
        summary = None
        if sheet is not None and stored is not None and sheet.given_result is None:
            missing = tuple(item for item in self.items[seat.pk] if item not in sheet.marks)
            summary = scoring.SheetSummary(
                points=stored["points"] or "0",
                maximum="",
                percentage=stored["percentage"],
                complete=not missing,
                missing=missing,
            )
        cell = cell_of(self.cls, entry, seat, sheet, summary=summary)
        return keyed_twice(cell, self.keyings.get((entry.pk, seat.pk), ""))


def keyed_twice(cell: Cell, keyings: str) -> Cell:
    """Let a cell that is complete otherwise say how far its second keying is."""
    if cell.state != "complete" or keyings not in {WAITING, DIFFERS}:
        return cell
    if keyings == WAITING:
        return replace(cell, state="waiting", word="to be keyed again")
    return replace(cell, state="keyings", word="two keyings differ")


def cell_of(
    cls: CompetitionClass,
    entry: Entry,
    seat: PanelSeat,
    sheet: Sheet | SheetColumns | None,
    *,
    summary: scoring.SheetSummary | None = None,
) -> Cell:
    """Say how far one seat's sheet of one entry has come; without its figures they are added up here."""
    if sheet is None or not (sheet.marks or sheet.given_result):
        if entry.status in SHEETS_OPTIONAL:
            return Cell(seat=seat.seat, state="not-needed", word="not needed")
        return Cell(seat=seat.seat, state="missing", word="missing")
    if sheet.given_result is not None:
        return _given_cell(seat, sheet, signed=sheet.signed or not cls.competition.sheets_signed)
    if summary is None:
        summary = summary_of(Sheet(entry=entry, seat=seat, marks=sheet.marks), competition_class=cls)
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


def _given_cell(seat: PanelSeat, sheet: Sheet | SheetColumns, *, signed: bool) -> Cell:
    given = sheet.given_result or {}
    return Cell(
        seat=seat.seat,
        state="complete" if signed else "unsigned",
        word="result only" if signed else "result only, unsigned",
        points=given.get("points", ""),
        percentage=given.get("percentage", ""),
        signed=sheet.signed,
    )
