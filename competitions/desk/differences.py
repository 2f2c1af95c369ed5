"""The table of differences as it is read: the seats side by side, ride by ride and movement by movement."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256

from django.urls import reverse

import scoring
from competitions.models import CheckDecision, CompetitionClass, Entry
from competitions.services.differences import Finding
from competitions.services.findings import CompletedRide, apart, completed_rides, extremes, limit_of
from scoring.exact import format_exact

KIND_WORDS = {
    "percentages": "seats apart",
    "marks": "marks apart",
    "substitutes": "mark put in",
    "total": "total differs",
    "unsigned": "not signed",
    "second-keying": "keyed once",
    "keyings": "keyings differ",
}
_PAGES = {"second-keying": "desk-key-again", "keyings": "desk-keyings-compared"}


@dataclass(frozen=True, slots=True)
class Figure:
    """What one seat gave. ``end`` says ``highest`` or ``lowest`` where the seats are too far apart."""

    seat: str
    text: str
    end: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Spread:
    """How far the seats that mark the same parts are apart; ``parts`` is empty where there is one such group."""

    parts: str
    gap: str
    beyond: bool


@dataclass(frozen=True, slots=True)
class RideLine:
    entry: Entry
    figures: tuple[Figure, ...]
    spreads: tuple[Spread, ...]

    @property
    def beyond(self) -> bool:
        return any(spread.beyond for spread in self.spreads)


@dataclass(frozen=True, slots=True)
class MovementLine:
    entry: Entry
    item: scoring.Item
    figures: tuple[Figure, ...]
    gap: str


@dataclass(frozen=True, slots=True)
class DifferenceTable:
    rides: tuple[RideLine, ...]
    movements: tuple[MovementLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedFinding:
    """A finding with its word, the name it has on the page, and the sheets it is about as (seat, address)."""

    finding: Finding
    word: str
    anchor: str
    sheets: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class LapsedDecision:
    """A decision that holds no longer, with what it was about in words."""

    about: str
    row: CheckDecision


def difference_table(cls: CompetitionClass, findings: Iterable[Finding]) -> DifferenceTable:
    """Lay the completed rides of a class out, each with what was found on its sheets."""
    notes: dict[tuple[int, str], list[str]] = {}
    for finding in findings:
        if finding.seat:
            notes.setdefault((finding.entry_id, finding.seat), []).append(KIND_WORDS[finding.kind])
    seat_limit, mark_limit = limit_of(cls.competition.seat_limit), limit_of(cls.competition.movement_limit)
    rides = list(completed_rides(cls))
    return DifferenceTable(
        rides=tuple(_ride_line(ride, limit=seat_limit, notes=notes) for ride in rides),
        movements=tuple(line for ride in rides for line in _movement_lines(ride, limit=mark_limit)),
    )


def listed(cls: CompetitionClass, findings: Iterable[Finding]) -> list[ListedFinding]:
    """Give each finding its word, its place on the page and the addresses of its sheets."""
    seats = [seat.seat for seat in cls.seats.all()]
    return [
        ListedFinding(
            finding=finding,
            word=KIND_WORDS[finding.kind],
            anchor=anchor_of(finding),
            sheets=tuple((seat, _page_of(cls, finding, seat)) for seat in ([finding.seat] if finding.seat else seats)),
        )
        for finding in findings
    ]


def _page_of(cls: CompetitionClass, finding: Finding, seat: str) -> str:
    """Return where one goes on with a finding about a seat: its sheet, or its second keying."""
    place = [cls.competition.slug, cls.number, finding.number, seat]
    return reverse(_PAGES.get(finding.kind, "desk-sheet"), args=place)


def anchor_of(finding: Finding) -> str:
    """Return the name under which a finding stands on the page; its key may hold what an address may not."""
    return f"finding-{sha256(finding.key.encode()).hexdigest()[:12]}"


def lapsed(rows: Iterable[CheckDecision]) -> list[LapsedDecision]:
    return [LapsedDecision(_about(row.key), row) for row in rows]


def _about(key: str) -> str:
    """Say what a decision was about, from the key of its finding."""
    kind, number, *rest = key.split("/")
    where = {"marks": "item", "percentages": "part"}.get(kind, "sheet")
    return f"Number {number}, {KIND_WORDS.get(kind, kind)}" + (f", {where} {'/'.join(rest)}" if rest else "")


def _ride_line(
    ride: CompletedRide, *, limit: Fraction | None, notes: Mapping[tuple[int, str], Sequence[str]]
) -> RideLine:
    ends: dict[str, str] = {}
    spreads = []
    groups = ride.percentages()
    for parts, texts in groups.items():
        if len(texts) < 2:
            continue
        gap, highest, lowest = extremes(texts)
        beyond = limit is not None and apart(texts, limit)
        if beyond:
            ends |= {highest: "highest", lowest: "lowest"}
        spreads.append(Spread(" and ".join(parts) if len(groups) > 1 else "", format_exact(gap), beyond))
    figures = tuple(
        Figure(
            seat.seat,
            ride.results.get(seat.seat, {}).get("percentage") or "",
            ends.get(seat.seat, ""),
            tuple(notes.get((ride.entry.pk, seat.seat), ())),
        )
        for seat in ride.seats
    )
    return RideLine(ride.entry, figures, tuple(spreads))


def _movement_lines(ride: CompletedRide, *, limit: Fraction | None) -> Iterable[MovementLine]:
    if limit is None:
        return
    for item in ride.items:
        texts = ride.marks(item.id)
        if not apart(texts, limit):
            continue
        gap, highest, lowest = extremes(texts)
        ends = {highest: "highest", lowest: "lowest"}
        put_in = {seat for seat, sheet in ride.sheets.items() if item.id in sheet.substitutes}
        figures = tuple(
            Figure(
                seat.seat,
                texts.get(seat.seat, ""),
                ends.get(seat.seat, ""),
                ("put in by the office",) if seat.seat in put_in else (),
            )
            for seat in ride.seats
        )
        yield MovementLine(ride.entry, item, figures, format_exact(gap))
