"""What is found on the sheets of a class: seats far apart, substitutes, totals that disagree, missing signatures.

Only completed rides are looked at, because no other sheet decides anything. What the competition has set no limit for
is not a finding, so that nobody has to wave through what nobody asked about: signatures count only where the
competition asks for signed sheets, totals only where somebody typed one from the paper, second keyings only where
sheets are keyed twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from hashlib import sha256

import scoring
from competitions.models import ClassResults, CompetitionClass, Entry, PanelSeat, Sheet
from competitions.selectors.documents import test_of
from competitions.selectors.keyings import FINAL, WAITING, Keyings, keyings_of_class
from scoring.exact import format_exact, parse_decimal
from scoring.marks import mark_text
from scoring.placings import natural_order

__all__ = [
    "KINDS",
    "CompletedRide",
    "Decision",
    "Finding",
    "apart",
    "completed_rides",
    "extremes",
    "find_in_class",
    "limit_of",
    "typed_total_fault",
]

KINDS = ("percentages", "marks", "substitutes", "total", "unsigned", "second-keying", "keyings")
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Decision:
    """Who let a finding stand, when and why."""

    reason: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing to look at.

    ``key`` stays the same as long as it is about the same thing, ``figures`` as long as it says the same. ``seat`` and
    ``item`` are empty where several are meant. ``changed`` says that it was decided on with other figures before.
    """

    key: str
    kind: str
    entry_id: int
    number: str
    seat: str
    item: str
    figures: str
    sentence: str
    decision: Decision | None = None
    changed: bool = False

    @property
    def decided(self) -> bool:
        return self.decision is not None


def find_in_class(competition_class: CompetitionClass) -> list[Finding]:
    """Return every finding of a class, by entry number, as they stand now."""
    return [finding for ride in completed_rides(competition_class) for finding in ride.findings()]


@dataclass(frozen=True, slots=True)
class CompletedRide:
    """One completed ride with its sheets by seat, its percentages as published, and the items of its test."""

    competition_class: CompetitionClass
    entry: Entry
    seats: Sequence[PanelSeat]
    sheets: Mapping[str, Sheet]
    results: Mapping[str, Mapping[str, str | None]]
    items: Sequence[scoring.Item]
    keyings: Sequence[Keyings] = field(default=())

    def findings(self) -> Iterator[Finding]:
        yield from self._percentages()
        yield from self._marks()
        for seat, sheet in self.sheets.items():
            yield from self._substitutes(seat, sheet)
            yield from self._total(seat, sheet)
        yield from self._unsigned()
        yield from self._keyings()

    def percentages(self) -> dict[tuple[str, ...], dict[str, str]]:
        """Return the seats' percentages by the parts that they mark; others are percentages of different things."""
        groups: dict[tuple[str, ...], dict[str, str]] = {}
        for seat in self.seats:
            percentage = self.results.get(seat.seat, {}).get("percentage")
            if percentage is not None:
                groups.setdefault(tuple(seat.parts), {})[seat.seat] = percentage
        return groups

    def marks(self, item: str) -> dict[str, str]:
        """Return the marks for one item by seat, without sheets whose result was given without marks."""
        return {
            seat: mark_text(sheet.marks[item])
            for seat, sheet in self.sheets.items()
            if item in sheet.marks and sheet.given_result is None
        }

    def _percentages(self) -> Iterator[Finding]:
        limit = limit_of(self.competition_class.competition.seat_limit)
        for parts, texts in self.percentages().items():
            if limit is None or not apart(texts, limit):
                continue
            gap, highest, lowest = extremes(texts)
            yield self._finding(
                "percentages",
                *parts,
                figures=_listed(f"{seat} {text}" for seat, text in texts.items()),
                sentence=f"{highest} gives {texts[highest]} % and {lowest} {texts[lowest]} %: {format_exact(gap)} "
                f"percentage points apart, more than {format_exact(limit)}.",
            )

    def _marks(self) -> Iterator[Finding]:
        limit = limit_of(self.competition_class.competition.movement_limit)
        if limit is None:
            return
        for item in self.items:
            texts = self.marks(item.id)
            if not apart(texts, limit):
                continue
            gap, highest, lowest = extremes(texts)
            yield self._finding(
                "marks",
                item.id,
                item=item.id,
                figures=_listed(f"{seat} {text}" for seat, text in texts.items()),
                sentence=f"{_capital(item.label)}: {highest} gives {texts[highest]} and {lowest} {texts[lowest]}, "
                f"{format_exact(gap)} marks apart, more than {format_exact(limit)}.",
            )

    def _substitutes(self, seat: str, sheet: Sheet) -> Iterator[Finding]:
        items = {item.id: item for item in self.items}
        there = [item for item in sheet.substitutes if item in sheet.marks and item in items]
        if not there or sheet.given_result is not None:
            return
        said = _listed(f"{items[item].label} ({mark_text(sheet.marks[item])})" for item in there)
        yield self._finding(
            "substitutes",
            seat,
            seat=seat,
            figures=_listed(f"{item} {mark_text(sheet.marks[item])}" for item in there),
            sentence=f"Sheet {seat} has a mark that the office put in: {said}. The judge must be truly gone, and it "
            "has to be reported.",
        )

    def _total(self, seat: str, sheet: Sheet) -> Iterator[Finding]:
        typed = sheet.typed_total.strip().replace(",", ".")
        if not typed:
            return
        ours = self.results.get(seat, {})
        points, percentage = ours.get("points"), ours.get("percentage")
        sentence = typed_total_fault(typed, points=points, percentage=percentage)
        if sentence:
            figures = f"{typed} / {points or percentage}"
            yield self._finding("total", seat, seat=seat, figures=figures, sentence=f"Sheet {seat}: {sentence}")

    def _unsigned(self) -> Iterator[Finding]:
        if not self.competition_class.competition.sheets_signed:
            return
        for seat, sheet in self.sheets.items():
            if not sheet.signed:
                sentence = f"Sheet {seat} is not signed. Ask the judge for the signature."
                yield self._finding("unsigned", seat, seat=seat, figures="not signed", sentence=sentence)

    def _keyings(self) -> Iterator[Finding]:
        for keyings in self.keyings:
            seat = keyings.seat.seat
            if keyings.state == WAITING:
                yield self._finding(
                    "second-keying",
                    seat,
                    seat=seat,
                    figures=f"keyed once, version {keyings.sheet.version}",
                    sentence=f"Sheet {seat} waits for its second keying by another person; it counts provisionally.",
                )
            elif keyings.state != FINAL:
                apart = keyings.differences
                many = f"{len(apart)} fields" if len(apart) > 1 else apart[0].label
                yield self._finding(
                    "keyings",
                    seat,
                    seat=seat,
                    figures=_listed(f"{row.field} {row.first or '-'}/{row.second or '-'}" for row in apart),
                    sentence=f"Sheet {seat}: its two keyings differ in {many}. Decide what the paper says.",
                )

    def _finding(self, kind: str, *about: str, figures: str, sentence: str, seat: str = "", item: str = "") -> Finding:
        pair = self.entry.pair
        return Finding(
            key="/".join((kind, self.entry.number, *about))[:_LONGEST],
            kind=kind,
            entry_id=self.entry.pk,
            number=self.entry.number,
            seat=seat,
            item=item,
            figures=_shortened(figures),
            sentence=f"Number {self.entry.number}, {pair.rider.name} with {pair.horse.name}. {sentence}",
        )


def typed_total_fault(typed: str, *, points: str | None, percentage: str | None) -> str:
    """Say how a total typed from the paper disagrees with ours, or nothing; the percentage in its place agrees too."""
    try:
        paper = parse_decimal(typed)
    except ValueError:
        return f'"{typed}" is not a total. Enter the points of the paper, such as 186.5.'
    ours = [Fraction(text) for text in (points, percentage) if text]
    if paper in ours or not ours:
        return ""
    if not points:
        return f"the paper says {typed}, the result given here is {percentage} %."
    difference = paper - Fraction(points)
    more = "more" if difference > 0 else "less"
    many = "1 point" if abs(difference) == 1 else f"{format_exact(abs(difference))} points"
    return f"the paper says {typed}, our marks add up to {points}: the paper has {many} {more}."


def completed_rides(competition_class: CompetitionClass) -> Iterator[CompletedRide]:
    """Read the completed rides of a class by number; the queries do not grow with the rides."""
    seats = list(competition_class.seats.all())
    items = test_of(competition_class).items
    results = ClassResults.objects.filter(competition_class=competition_class).first()
    rows = {row["number"]: row for row in (results.document.get("entries", []) if results else [])}
    keyings: dict[int, list[Keyings]] = {}
    for found in keyings_of_class(competition_class):
        keyings.setdefault(found.entry.pk, []).append(found)
    entries = (
        competition_class.entries.filter(status=Entry.Status.COMPLETED)
        .select_related("pair__rider", "pair__horse")
        .prefetch_related("sheets")
    )
    for entry in sorted(entries, key=lambda entry: natural_order(entry.number)):
        row = rows.get(entry.number, {})
        if row.get("status") not in {None, "completed"}:
            continue
        sheets = {sheet.seat_id: sheet for sheet in entry.sheets.all()}
        by_seat = {seat.seat: sheets[seat.pk] for seat in seats if seat.pk in sheets}
        figures = row.get("sheets") or {}
        of_paper = keyings.get(entry.pk, ())
        yield CompletedRide(competition_class, entry, seats, by_seat, figures, items, of_paper)


def limit_of(text: str) -> Fraction | None:
    """Return a limit as the competition keeps it; None where it has set none."""
    return parse_decimal(text) if text else None


def apart(texts: Mapping[str, str], limit: Fraction) -> bool:
    """Tell whether any two of these figures differ by more than the limit."""
    return len(texts) > 1 and extremes(texts)[0] > limit


def extremes(texts: Mapping[str, str]) -> tuple[Fraction, str, str]:
    """Return how far the highest and the lowest are apart, and whose they are."""
    values = {seat: Fraction(text) for seat, text in texts.items()}
    highest, lowest = max(values, key=values.__getitem__), min(values, key=values.__getitem__)
    return values[highest] - values[lowest], highest, lowest


def _shortened(text: str) -> str:
    if len(text) <= _LONGEST:
        return text
    return f"{text[: _LONGEST - 20]}... {sha256(text.encode()).hexdigest()[:16]}"


def _listed(texts: Iterable[str]) -> str:
    return ", ".join(texts)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
