"""Sheets keyed twice: what each of the two read from the paper, where they differ, and what is settled.

Everything is compared as text by field, so that what stood side by side can be kept and read years later: ``mark.7``,
``remark.7``, ``overall``, ``total`` (added up by hand), ``signed``, ``given`` (a result without marks), ``errors`` of
course, ``deducted`` and ``deducted-percent`` (other deductions of this sheet). Nothing is the empty text.

A sheet is final when each field as it stands is what is settled: the decision on it, or else what the second keying
read. So a change after that opens the sheet again by itself, for that field only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import scoring
from competitions.models import (
    CompetitionClass,
    Entry,
    FirstKeyingSeen,
    KeyingDecision,
    PanelSeat,
    SecondKeying,
    SecondKeyingMode,
    Sheet,
    SheetChoice,
    SheetRevision,
)
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.summaries import is_full
from scoring.exact import format_exact, format_units, parse_decimal

WAITING, DIFFERS, FINAL = "waiting", "differs", "final"
_OFF_RESULT = frozenset({Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW, Entry.Status.ELIMINATED, Entry.Status.RETIRED})
_LABELS = {
    "given": "Result without marks",
    "errors": "Errors of course",
    "deducted": "Points deducted besides",
    "deducted-percent": "Percentage points deducted besides",
    "total": "Total on the paper",
    "signed": "Signed by the judge",
    "overall": "Overall remarks",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyingDifference:
    """One field in which a sheet as it stands is not what is settled.

    ``decided`` is the decision that held before the sheet was changed once more, if there was one.
    """

    field: str
    label: str
    first: str
    second: str
    decided: KeyingDecision | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyings:
    """A sheet that has to be keyed twice. ``state``: ``waiting`` for its second keying, ``differs``, or ``final``.

    ``labels`` are the names of the fields in which this sheet may differ, in sheet order.
    """

    entry: Entry
    seat: PanelSeat
    sheet: Sheet
    state: str
    keying: SecondKeying | None
    differences: tuple[KeyingDifference, ...]
    decisions: tuple[KeyingDecision, ...]
    labels: Mapping[str, str]


def mode_of(competition_class: CompetitionClass) -> str:
    """Return which sheets of a class are keyed twice: its own setting, or else the competition's."""
    return competition_class.second_keying or competition_class.competition.second_keying


def keyings_of_class(competition_class: CompetitionClass, *, entry: Entry | None = None) -> list[Keyings]:
    """Return the sheets of a class (or of one entry of it) that have to be keyed twice, in the order of the pile.

    Those are sheets of paper with a result, of rides that count for one. The number of queries does not grow.
    """
    mode = mode_of(competition_class)
    if mode == SecondKeyingMode.OFF:
        return []
    sheets = Sheet.objects.filter(entry__competition_class=competition_class).exclude(entry__status__in=_OFF_RESULT)
    if entry is not None:
        sheets = sheets.filter(entry=entry)
    reading = _Reading(competition_class, sheets, all_sheets=mode == SecondKeyingMode.ALL)
    return list(reading.found())


def keyings_of_sheet(competition_class: CompetitionClass, *, entry: Entry, seat: PanelSeat) -> Keyings | None:
    """Return how far the two keyings of one sheet are; None where it need not be keyed twice."""
    found = keyings_of_class(competition_class, entry=entry)
    return next((keyings for keyings in found if keyings.seat.pk == seat.pk), None)


def chosen_sheets(competition_class: CompetitionClass) -> set[tuple[int, int]]:
    """Return the (entry, seat) of the sheets that are chosen to be keyed twice."""
    rows = SheetChoice.objects.filter(entry__competition_class=competition_class).order_by("pk")
    last = {(entry, seat): chosen for entry, seat, chosen in rows.values_list("entry_id", "seat_id", "chosen")}
    return {place for place, chosen in last.items() if chosen}


def writers_of(sheets: Iterable[Sheet]) -> dict[int, set[int]]:
    """Return, by sheet, the accounts that cannot key it blind: they wrote on it, or opened its first keying."""
    ids = [sheet.pk for sheet in sheets]
    found: dict[int, set[int]] = {pk: set() for pk in ids}
    for model in (SheetRevision, FirstKeyingSeen, SecondKeying):
        rows = model._default_manager.filter(sheet__in=ids, by__isnull=False)  # noqa: SLF001 - Django's name for it
        for sheet, by in rows.order_by().values_list("sheet_id", "by_id"):
            found[sheet].add(by)
    return found


def table_signed(sheets: Sequence[int]) -> set[int]:
    """Return those of these sheets that were signed at the judge's table: nothing of them was keyed from paper."""
    rows = SheetRevision.objects.filter(sheet__in=sheets).order_by("sheet", "version")
    last: dict[int, bool] = {}
    for sheet, source, before, after in rows.values_list("sheet_id", "source", "before__signed", "after__signed"):
        if before != after:
            last[sheet] = bool(after) and source == SheetRevision.Source.TABLE
    return {sheet for sheet, at_the_table in last.items() if at_the_table}


def read_from_sheet(sheet: Sheet, entry: Entry, items: Iterable[scoring.Item]) -> dict[str, str]:
    """Return what the first keying read, by field; a mark that the office put in does not stand on the paper."""
    read = {}
    for item in items:
        tenths = None if item.id in sheet.substitutes else sheet.marks.get(item.id)
        read[f"mark.{item.id}"] = "" if tenths is None else format_units(tenths, decimals=1)
        read[f"remark.{item.id}"] = " ".join(sheet.remarks.get(item.id, "").split())
    given = sheet.given_result or {}
    read["given"] = " ".join(f"{kind} {plain(value)}" for kind, value in given.items())
    read["errors"] = str(entry.errors)
    read["deducted"] = _deducted(entry, sheet.seat, {"sheet-points"})
    read["deducted-percent"] = _deducted(entry, sheet.seat, {"part-percentage", "total-percentage"})
    read["total"] = plain(sheet.typed_total)
    read["signed"] = "yes" if sheet.signed else ""
    read["overall"] = " ".join(sheet.overall_remarks.split())
    return read


def plain(text: str) -> str:
    """Write a typed number without needless places, so that 186.50 is 186.5; what is no number stays as typed."""
    typed = text.strip().replace(",", ".")
    try:
        return format_exact(parse_decimal(typed)) if typed else ""
    except ValueError:
        return typed


def labels_of(items: Iterable[scoring.Item], *, remarks: bool) -> dict[str, str]:
    """Return the compared fields in sheet order with their names."""
    found = {}
    for item in items:
        found[f"mark.{item.id}"] = f"Mark, {item.label}"
        if remarks:
            found[f"remark.{item.id}"] = f"Remark, {item.label}"
    return found | {field: label for field, label in _LABELS.items() if remarks or field != "overall"}


def _deducted(entry: Entry, seat: PanelSeat, kinds: set[str]) -> str:
    amounts = [
        parse_decimal(deduction["amount"])
        for deduction in entry.deductions
        if deduction.get("off") in kinds and deduction.get("seat") in {None, "", seat.seat}
    ]
    return format_exact(sum(amounts, Fraction(0)))


class _Reading:
    """The sheets of a class with what was keyed and decided, read once."""

    def __init__(self, competition_class: CompetitionClass, sheets: Any, *, all_sheets: bool) -> None:
        self.competition_class = competition_class
        self.remarks = competition_class.competition.second_keying_remarks
        seats = list(competition_class.seats.select_related("judge"))
        self.seats = {seat.pk: seat for seat in seats}
        test = test_of(competition_class)
        self.items = {seat.pk: items_of_seat(test, seat) for seat in seats}
        self.labels = {pk: labels_of(items, remarks=self.remarks) for pk, items in self.items.items()}
        rows = sheets.select_related("entry__pair__rider", "entry__pair__horse").order_by(
            "seat__order", "seat__pk", "entry__order", "entry__number", "pk"
        )
        full = [sheet for sheet in rows if is_full(sheet, self.items[sheet.seat_id])]
        if not all_sheets:
            chosen = chosen_sheets(competition_class)
            full = [sheet for sheet in full if (sheet.entry_id, sheet.seat_id) in chosen]
        digital = table_signed([sheet.pk for sheet in full if sheet.signed])
        self.sheets = [sheet for sheet in full if sheet.pk not in digital]
        ids = [sheet.pk for sheet in self.sheets]
        keyings = SecondKeying.objects.filter(sheet__in=ids).select_related("by").order_by("pk")
        self.keyings = {keying.sheet_id: keying for keying in keyings}
        self.decisions: dict[int, list[KeyingDecision]] = {}
        last = [keying.pk for keying in self.keyings.values()]
        for row in KeyingDecision.objects.filter(keying__in=last).select_related("by").order_by("pk"):
            self.decisions.setdefault(row.keying_id, []).append(row)

    def found(self) -> Iterator[Keyings]:
        for sheet in self.sheets:
            sheet.seat = self.seats[sheet.seat_id]
            sheet.entry.competition_class = self.competition_class
            keying = self.keyings.get(sheet.pk)
            decisions = self.decisions.get(keying.pk, []) if keying else []
            apart = tuple(self._differences(sheet, keying, decisions)) if keying else ()
            yield Keyings(
                entry=sheet.entry,
                seat=sheet.seat,
                sheet=sheet,
                state=WAITING if keying is None else DIFFERS if apart else FINAL,
                keying=keying,
                differences=apart,
                decisions=tuple(decisions),
                labels=self.labels[sheet.seat_id],
            )

    def _differences(
        self, sheet: Sheet, keying: SecondKeying, decisions: Iterable[KeyingDecision]
    ) -> Iterator[KeyingDifference]:
        first = read_from_sheet(sheet, sheet.entry, self.items[sheet.seat_id])
        second: Mapping[str, str] = keying.read
        decided = {row.field: row for row in decisions}
        for field, label in self.labels[sheet.seat_id].items():
            if field not in second:  # was not asked for when the sheet was keyed again
                continue
            settled = decided[field].value if field in decided else second[field]
            if first[field] != settled:
                yield KeyingDifference(
                    field=field,
                    label=label,
                    first=first[field],
                    second=second[field],
                    decided=decided.get(field),
                )
