"""``results/1``: a class worked out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.classes import STATUSES, ClassDocument
from scoring.exact import format_units
from scoring.figures import Frame
from scoring.placings import Placing, natural_order, places_by, placings
from scoring.rides import Ride, ride_of
from scoring.teams import Member, TeamResult, team_results
from scoring.tie_figures import TieFigures
from scoring.working import Working

__all__ = ["EntryResult", "Results", "SheetResult", "Tie", "compute_results"]


@dataclass(frozen=True, slots=True)
class SheetResult:
    points: str | None
    percentage: str | None
    place: int | None
    adjusted_to: str | None

    def as_document(self) -> dict[str, object]:
        return {
            "points": self.points,
            "percentage": self.percentage,
            "place": self.place,
            "adjusted_to": self.adjusted_to,
        }


@dataclass(frozen=True, slots=True)
class Tie:
    """Who had the same published total, and the last step (``by``) that parted this entry from any of them."""

    others: tuple[str, ...]
    step: str | None
    value: str | None

    def as_document(self) -> dict[str, object]:
        return {"with": list(self.others), "step": self.step, "value": self.value}


@dataclass(frozen=True, slots=True)
class EntryResult:
    """One row; every figure is text with the decimals of the rule set, or None."""

    number: str
    status: str
    hors_concours: bool
    placing: int | None
    shared: bool
    total: str | None
    points: str | None
    penalty: str | None
    so_far: str | None
    sheets: Mapping[str, SheetResult]
    parts: Mapping[str, str]
    collectives: str | None
    tie: Tie | None
    reason: str | None
    working: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        return {
            "number": self.number,
            "status": self.status,
            "hors_concours": self.hors_concours,
            "placing": self.placing,
            "shared": self.shared,
            "total": self.total,
            "points": self.points,
            "penalty": self.penalty,
            "so_far": self.so_far,
            "sheets": {seat: sheet.as_document() for seat, sheet in self.sheets.items()},
            "parts": dict(self.parts),
            "collectives": self.collectives,
            "tie": None if self.tie is None else self.tie.as_document(),
            "reason": self.reason,
            "working": list(self.working),
        }


@dataclass(frozen=True, slots=True)
class Results:
    """The results of a class; ``hidden`` are rows hors concours that the rule set keeps off the published list."""

    class_id: str
    rules_id: str
    entries: tuple[EntryResult, ...]
    teams: tuple[TeamResult, ...] = ()
    hidden: tuple[EntryResult, ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return the ``results/1`` document, without the hidden rows."""
        return {
            "format": "results/1",
            "class": self.class_id,
            "rules": self.rules_id,
            "entries": [entry.as_document() for entry in self.entries],
            "teams": [team.as_document() for team in self.teams],
        }


def compute_results(class_document: ClassDocument, *, working: bool = True) -> Results:
    """Work out a class: totals, places, ties, teams, and with ``working`` the sentences that prove them.

    Takes what :func:`scoring.read_class` returns and reads nothing else; the same class gives the same results in
    whatever order its entries and seats stand.
    """
    return _Computation(class_document, working=working).results()


class _Computation:
    def __init__(self, document: ClassDocument, *, working: bool) -> None:
        self.document, self.rules = document, document.rules
        self.frame = Frame(document)
        self.ties = TieFigures(self.frame)
        self.rides = {entry.number: ride_of(self.frame, entry) for entry in document.entries}
        self.placings = {row.number: row for row in self._placings()}
        self.seat_places = self._seat_places()
        self.working = Working(self.frame, self.ties, self.rides) if working else None

    def results(self) -> Results:
        rides = sorted(self.rides.values(), key=self._order)
        hides = self.rules.hors_concours == "hidden"
        shown = [ride for ride in rides if not (hides and ride.entry.hors_concours)]
        hidden = [ride for ride in rides if hides and ride.entry.hors_concours]
        return Results(
            class_id=self.document.id,
            rules_id=self.rules.id,
            entries=tuple(map(self._row, shown)),
            teams=self._teams(),
            hidden=tuple(map(self._row, hidden)),
        )

    def _placings(self) -> list[Placing]:
        ranks = {
            number: ride.total.units if ride.penalty is None else -ride.penalty
            for number, ride in self.rides.items()
            if ride.total is not None and ride.competes and not self._below_minimum(ride)
        }
        return placings(
            ranks,
            steps=self.rules.ties,
            tie_places=self.rules.tie_places,
            figure=lambda number, step: self.ties.figure(self.rides[number], step),
        )

    def _below_minimum(self, ride: Ride) -> bool:
        minimum = self.rules.minimum_for_place
        return minimum is not None and ride.total is not None and ride.total.units < minimum * 10**self.rules.decimals

    def _seat_places(self) -> Mapping[str, Mapping[str, int]]:
        competing = [(number, ride) for number, ride in self.rides.items() if ride.competes]
        return {
            seat: places_by({number: ride.sheets[seat].percentage for number, ride in competing})
            for seat in self.frame.seats
        }

    def _order(self, ride: Ride) -> tuple[object, ...]:
        placing = self.placings.get(ride.entry.number)
        total = -ride.total.units if placing is None and ride.completed and ride.total is not None else 0
        place = 0 if placing is None else placing.place
        return (placing is None, place, STATUSES.index(ride.status), total, natural_order(ride.entry.number))

    def _row(self, ride: Ride) -> EntryResult:
        entry, placing, frame = ride.entry, self.placings.get(ride.entry.number), self.frame
        total = None if ride.total is None else format_units(ride.total.units, decimals=self.rules.decimals)
        points = [sheet.points for sheet in ride.sheets.values()]
        added = sum(value for value in points if value is not None)
        collectives = self.ties.points(entry, self.ties.collectives) if ride.completed else None
        return EntryResult(
            number=entry.number,
            status=ride.status,
            hors_concours=entry.hors_concours,
            placing=None if placing is None else placing.place,
            shared=placing is not None and placing.shared,
            total=total if ride.completed else None,
            points=frame.points_text(added) if ride.completed and None not in points else None,
            penalty=self._penalty_text(ride),
            so_far=total if ride.status == "running" else None,
            sheets=self._sheets(ride),
            parts={n: format_units(units, decimals=self.rules.decimals) for n, units in ride.parts.items()},
            collectives=None if collectives is None else frame.points_text(collectives),
            tie=None if placing is None or not placing.equals else self._tie(placing),
            reason=ride.reason,
            working=() if self.working is None else tuple(self.working.lines(ride, placing)),
        )

    def _penalty_text(self, ride: Ride) -> str | None:
        if ride.penalty is None or self.rules.penalty is None:
            return None
        return format_units(ride.penalty, decimals=self.rules.penalty.decimals)

    def _sheets(self, ride: Ride) -> dict[str, SheetResult]:
        frame, moved = self.frame, {move.seat for move in ride.moves}
        number = ride.entry.number
        return {
            seat: SheetResult(
                points=None if sheet.points is None else frame.points_text(sheet.points),
                percentage=frame.percent_text(sheet.percentage),
                place=self.seat_places[seat].get(number),
                adjusted_to=frame.percent_text(ride.counted[seat]) if seat in moved else None,
            )
            for seat, sheet in ride.sheets.items()
        }

    def _tie(self, placing: Placing) -> Tie:
        if not placing.separated:
            return Tie(placing.equals, None, None)
        step, figures = placing.separated[-1]
        return Tie(placing.equals, step.by, self.ties.text(step, figures[placing.number]))

    def _teams(self) -> tuple[TeamResult, ...]:
        if self.document.teams is None:
            return ()
        return team_results(
            self._members(self.document.teams.of),
            self.document.teams,
            decimals=self.rules.decimals,
            rounding=self.rules.rounding,
        )

    def _members(self, of: str) -> Iterable[Member]:
        for number, ride in self.rides.items():
            if ride.entry.team is not None and not ride.entry.hors_concours:
                value = self._value(ride, of) if ride.completed else None
                yield Member(number, ride.entry.team, value, out=ride.status not in ("completed", "running"))

    def _value(self, ride: Ride, of: str) -> Fraction | None:
        if of == "points":
            points: Sequence[int] = [sheet.points or 0 for sheet in ride.sheets.values()]
            return Fraction(sum(points), self.frame.unit)
        if of == "penalty" and ride.penalty is not None and self.rules.penalty is not None:
            return Fraction(ride.penalty, 10**self.rules.penalty.decimals)
        return None if ride.total is None else Fraction(ride.total.units, 10**self.rules.decimals)
