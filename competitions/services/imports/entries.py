"""Entries out of an ``entries.csv``: new ones are entered, those that are there become what the file says."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from competitions.models import Competition, Entry, EntryChange
from competitions.services.clock import raise_version
from competitions.services.entries import entry_record, ride_times, store_ride_times
from competitions.services.imports.entrants import EntrantBook, PairBook
from competitions.services.imports.lookup import ClassBook, CompetitionBook
from competitions.services.numbers import number_fault
from competitions.services.results import recompute_class
from riders.csvrows import Row, read_rows
from riders.intake import Imported, Problems, refuse
from riders.models import Horse, Rider, User
from riders.transactions import write_transaction

ENTRY_COLUMNS = (
    "class",
    "number",
    "order",
    "ride_time",
    "rider",
    "rider_registration",
    "horse",
    "horse_registration",
    "horse_born",
    "owner",
    "team",
    "hors_concours",
)


@dataclass(slots=True)
class _Draft:
    """One row that can be read: the entry it is about, and what it says; None is nothing."""

    row: Row
    book: ClassBook
    entry: Entry | None
    number: str
    rider: Rider
    horse: Horse
    order: int | None
    clock: time | None
    team: str | None
    hors_concours: bool | None

    def is_new_to(self, entry: Entry) -> bool:
        """Tell whether the row says anything else than what the entry says."""
        pair = entry.pair
        return (
            (pair.rider, pair.horse) != (self.rider, self.horse)
            or (self.order is not None and self.order != entry.order)
            or (self.clock is not None and self.moment() != entry.ride_time)
            or (self.team is not None and self.team != entry.team)
            or (self.hors_concours is not None and self.hors_concours != entry.hors_concours)
        )

    def moment(self) -> datetime | None:
        found = self.book.competition_class
        if self.clock is None:
            return None
        return datetime.combine(found.date, self.clock, tzinfo=found.competition.zone)


def import_entries(competition: Competition, text: str | bytes, *, by: User | None) -> Imported:
    """Enter the pairs of a file; the counts are of entries.

    Riders and horses are found by registration; without one, the same exact name is the same rider or horse inside this
    competition only. Entries that the file does not name stay. Ride times that it does not give are worked out from the
    running order; an entry without an order rides last. A class with official results is not changed.
    """
    problems: Problems = []
    rows = list(
        read_rows(text, columns=ENTRY_COLUMNS, required={"class", "number", "rider", "horse"}, problems=problems)
    )
    with write_transaction():
        classes, entrants = CompetitionBook(competition, rows), EntrantBook(competition, rows)
        drafts = _read_drafts(rows, classes, entrants)
        _refuse_shared_orders(drafts)
        pending = [draft for draft in drafts if draft.entry is None or draft.is_new_to(draft.entry)]
        for draft in pending:
            sentence = draft.book.closed_sentence()
            if sentence:
                draft.row.problem("class", sentence)
        refuse(problems, what="the entries")
        horses = entrants.save()
        _write(pending, by=by)
        _show_changed_horses(drafts, pending, horses)
    created = sum(draft.entry is None for draft in drafts)
    touched = {id(draft) for draft in pending} | {id(draft) for draft in drafts if draft.horse.pk in horses}
    return Imported(created, len(touched) - created, len(drafts) - len(touched))


def _read_drafts(rows: list[Row], classes: CompetitionBook, entrants: EntrantBook) -> list[_Draft]:
    _refuse_repeated(rows)
    drafts = []
    for row in sorted(rows, key=lambda row: not (row.raw("rider_registration") and row.raw("horse_registration"))):
        draft = _draft_of(row, classes.class_of(row), entrants)
        if draft is not None:
            drafts.append(draft)
    return sorted(drafts, key=lambda draft: draft.row.number)


def _refuse_repeated(rows: Iterable[Row]) -> None:
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        place = (row.raw("class"), row.raw("number"))
        earlier = seen.setdefault(place, row.number)
        if all(place) and earlier != row.number:
            row.problem("number", f"Entry {place[1]} of class {place[0]} stands already in row {earlier}. Keep one.")


def _draft_of(row: Row, book: ClassBook | None, entrants: EntrantBook) -> _Draft | None:
    number = row.text("number", most=10, required=True)
    fault = number_fault(number, what="an entry") if number else ""
    if fault:
        row.problem("number", fault)
    values: dict[str, Any] = {
        "order": row.whole("order", least=1, most=10_000),
        "clock": row.clock("ride_time"),
        "team": row.text("team", most=80) if row.has("team") else None,
        "hors_concours": row.flag("hors_concours"),
    }
    people = entrants.read(row)
    if book is None or people is None or row.faulty:
        return None
    rider, horse = people
    return _Draft(row, book, book.entries.get(number), number, rider, horse, **values)


def _refuse_shared_orders(drafts: Iterable[_Draft]) -> None:
    """Every entry of a class has a place of its own in the running order."""
    by_class: dict[str, list[_Draft]] = defaultdict(list)
    for draft in drafts:
        by_class[draft.book.number].append(draft)
    for members in by_class.values():
        named = {draft.number for draft in members if draft.order is not None}
        kept = members[0].book.entries.values()
        taken = {entry.order: entry.number for entry in kept if entry.order and entry.number not in named}
        for draft in members:
            if draft.order is None:
                continue
            holder = taken.setdefault(draft.order, draft.number)
            if holder != draft.number:
                sentence = f"Place {draft.order} in the running order is that of entry {holder}. Give each its own."
                draft.row.problem("order", sentence)


def _show_changed_horses(drafts: list[_Draft], pending: list[_Draft], horses: set[int]) -> None:
    """Move the clock of classes that show a horse with another owner, though no entry changed."""
    computed = {draft.book.number for draft in pending}
    shown = {draft.book.number: draft.book for draft in drafts if draft.horse.pk in horses}
    for number, book in shown.items():
        if number not in computed:
            raise_version(book.competition_class)


def _write(pending: list[_Draft], *, by: User | None) -> None:
    pairs = PairBook({draft.rider.pk: draft.rider for draft in pending}.values())
    by_class: dict[str, list[_Draft]] = defaultdict(list)
    for draft in pending:
        by_class[draft.book.number].append(draft)
    for members in by_class.values():
        book = members[0].book
        last = max((entry.order or 0 for entry in book.entries.values()), default=0)
        last = max([last, *(draft.order or 0 for draft in members)])
        for draft in members:
            if draft.entry is None and draft.order is None:
                last += 1
                draft.order = last
        _write_entries(members, pairs, by=by)
        _settle_times(book, members)
        recompute_class(book.competition_class)


def _write_entries(members: list[_Draft], pairs: PairBook, *, by: User | None) -> None:
    fresh, changes = [], []
    for draft in members:
        entry = draft.entry or Entry(competition_class=draft.book.competition_class, number=draft.number)
        before = entry_record(entry) if draft.entry else {}
        entry.pair = pairs.pair(draft.rider, draft.horse)
        entry.order = draft.order or entry.order
        entry.ride_time = draft.moment() or entry.ride_time
        entry.team = entry.team if draft.team is None else draft.team
        entry.hors_concours = entry.hors_concours if draft.hors_concours is None else draft.hors_concours
        if draft.entry is None:
            fresh.append(entry)
        else:
            entry.version += 1
            entry.save()
        changes.append((entry, before))
    Entry.objects.bulk_create(fresh)
    EntryChange.objects.bulk_create(
        EntryChange(entry=entry, by=by, reason="imported", before=before, after=entry_record(entry))
        for entry, before in changes
        if before != entry_record(entry)
    )


def _settle_times(book: ClassBook, members: list[_Draft]) -> None:
    """Work out the ride times: all of them, or where the file gives some, only those that are missing."""
    if all(draft.clock is None for draft in members):
        store_ride_times(book.competition_class)
        return
    entries = list(book.competition_class.entries.order_by("order", "number", "pk"))
    for entry, worked_out in zip(entries, ride_times(book.competition_class, len(entries)), strict=True):
        if entry.ride_time is None and worked_out is not None:
            Entry.objects.filter(pk=entry.pk).update(ride_time=worked_out)
