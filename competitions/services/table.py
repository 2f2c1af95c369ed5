"""What arrives from the judge's table: changes in their order, each once, never over what someone else wrote.

Every change names the value that the judge saw before (``base``). Where something else stands there now, the change is
*held*: nothing is written, and the answer says what stands there, so that the judge decides with both in sight.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from itertools import groupby
from typing import Any

from django.db import IntegrityError

from competitions.models import Entry, EntryChange, PanelSeat, Sheet, SheetRevision, TableChange
from competitions.policy import can
from competitions.selectors.panels import presiding_seat
from competitions.services.clock import lock_open_class
from competitions.services.entries import entry_record, set_outcome
from competitions.services.sheets import SheetChanges, clean_text, refuse_bad_changes, save_sheet, sheet_record
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import opened_by, write_transaction

_WHOLE = {
    "overall": "overall_remarks",
    "overall_time": "overall_time",
    "signed": "signed",
    "given_result": "given_result",
}
ARRIVED, HELD, REFUSED = "arrived", "held", "refused"
_ATTEMPTS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One change as the device sent it.

    ``field`` is ``mark.7`` (tenths or None), ``remark.7``, ``overall``, ``signed``, ``errors``, or ``told`` (words to
    the office about what this seat may not decide); of a ride seen in a recording also ``time.7``, ``remark_time.7``,
    ``overall_time`` (milliseconds or None) and ``limited.7`` (true or false). ``over_given`` says that the judge has
    seen the result that stands there without marks, and marks all the same.
    """

    id: str
    entry: Entry
    seat: PanelSeat
    field: str
    value: Any
    base: Any = None
    over_given: bool = False
    device_time: str = ""

    @property
    def of_sheet(self) -> bool:
        return self.field not in {"errors", "told"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What became of one change; a held one says what stands there, since when and by whom."""

    id: str
    outcome: str = ARRIVED
    why: str = ""
    theirs: Any = None
    by: str = ""
    at: datetime | None = None


class _Taken(Exception):  # noqa: N818 - never leaves this module
    """Another request brought one of these changes at this moment."""


def take_changes(changes: Sequence[Written], *, by: User) -> list[Verdict]:
    """Take changes in their order: those of one sheet that follow each other are one saving of it.

    A sheet of which anything is held is not signed by a later change either.
    """
    verdicts: list[Verdict] = []
    undecided: set[tuple[int, int]] = set()
    for (entry, seat, of_sheet), changes_of_run in groupby(changes, key=lambda c: (c.entry.pk, c.seat.pk, c.of_sheet)):
        run = list(changes_of_run)
        if of_sheet:
            take = partial(_take_sheet_run, undecided=(entry, seat) in undecided)
            found = _repeated(take, run, by)
        else:
            found = [verdict for change in run for verdict in _repeated(_take_entry_change, [change], by)]
        if any(verdict.outcome == HELD for verdict in found):
            undecided.add((entry, seat))
        verdicts += found
    return verdicts


def _repeated(take: Callable[[list[Written], User], list[Verdict]], run: list[Written], by: User) -> list[Verdict]:
    """Look at everything anew where someone else wrote between the reading and the writing."""
    for _ in range(_ATTEMPTS):
        try:
            return take(run, by)
        except (_Taken, Conflict):
            continue
    why = "The sheet is being changed by others at this moment. It is sent again by itself."
    raise Conflict(why)


def _take_sheet_run(run: list[Written], by: User, *, undecided: bool = False) -> list[Verdict]:
    entry, seat = run[0].entry, run[0].seat
    known = _known(run, by)
    fresh = [change for change in run if change.id not in known]
    verdicts = {change.id: known.get(change.id) or Verdict(id=change.id) for change in run}
    if fresh and not can(by, "mark", seat):
        return [*_refuse(verdicts, fresh, _closed(seat))]
    sheet = Sheet.objects.filter(entry=entry, seat=seat).first() or Sheet(entry=entry, seat=seat)
    draft = _Draft(sheet, undecided=undecided)
    for change in fresh:
        verdicts[change.id] = _fault(change) or draft.take(change)
    taken = [change for change in fresh if verdicts[change.id].outcome == ARRIVED]
    try:
        _save(draft, taken, by=by)
    except NotAllowed as error:
        return _refuse(verdicts, fresh, error.message)
    return list(verdicts.values())


def _save(draft: _Draft, taken: Sequence[Written], *, by: User) -> None:
    if not taken:
        return
    changes = draft.changes()
    if changes is None:
        with write_transaction():
            _remember(taken, by)
        return
    sheet = draft.sheet
    with opened_by(lambda: _remember(taken, by)):
        save_sheet(
            entry=sheet.entry,
            seat=sheet.seat,
            expected_version=sheet.version,
            changes=changes,
            by=by,
            source=SheetRevision.Source.TABLE,
            reason=sheet.entry.competition_class.correction_reason,
        )


def _take_entry_change(run: list[Written], by: User) -> list[Verdict]:
    (change,) = run
    known = _known(run, by)
    if known:
        return list(known.values())
    try:
        return [_take_told(change, by) if change.field == "told" else _take_errors(change, by)]
    except (NotAllowed, InvalidInput) as error:
        return [Verdict(id=change.id, outcome=REFUSED, why=error.message)]


def _take_errors(change: Written, by: User) -> Verdict:
    seat = change.seat
    if not can(by, "count-errors", seat):
        president = presiding_seat(seat.competition_class.seats.all())
        raise NotAllowed(
            _closed(seat)
            if not seat.competition_class.open_for_changes
            else f"Only the judge at {president.seat if president else 'C'} and the office count errors of course."
        )
    entry = Entry.objects.get(pk=change.entry.pk)
    if entry.errors == change.value:
        with write_transaction():
            _remember([change], by)
    elif entry.errors == change.base:
        why = f"counted at the judge's table, seat {seat.seat}"
        with opened_by(lambda: _remember([change], by)):
            set_outcome(entry, expected_version=entry.version, by=by, errors=change.value, why=why)
    else:
        last = entry.changes.select_related("by").order_by("-id").first()
        return Verdict(
            id=change.id,
            outcome=HELD,
            theirs=entry.errors,
            by=str(last.by) if last and last.by else "",
            at=last.at if last else None,
            why="Someone else changed the errors of course.",
        )
    return Verdict(id=change.id)


def _take_told(change: Written, by: User) -> Verdict:
    """Note for the office what this judge may not decide; nothing about the entry changes."""
    seat = change.seat
    if not can(by, "mark", seat):
        raise NotAllowed(_closed(seat))
    with write_transaction():
        lock_open_class(seat.competition_class_id)
        _remember([change], by)
        record = entry_record(change.entry)
        why = f"Seat {seat.seat} tells the office: {clean_text(str(change.value))}"
        EntryChange.objects.create(entry=change.entry, by=by, reason=why[:300], before=record, after=record)
    return Verdict(id=change.id)


def _known(run: Iterable[Written], by: User) -> dict[str, Verdict]:
    """Return verdicts over changes whose names have arrived before; a name is of one field of one sheet."""
    by_id = {change.id: (change.entry.pk, change.seat.pk, change.field) for change in run}
    rows = TableChange.objects.filter(by=by, change_id__in=list(by_id))
    verdicts = {}
    for name, *place in rows.values_list("change_id", "entry_id", "seat_id", "field"):
        verdicts[name] = Verdict(id=name)
        if tuple(place) != by_id[name]:
            why = "Another change has arrived under this name. Write it once more."
            verdicts[name] = Verdict(id=name, outcome=REFUSED, why=why)
    return verdicts


def _remember(changes: Iterable[Written], by: User) -> None:
    """Write the ids down inside the transaction of the effect: neither is there without the other."""
    rows = [
        TableChange(
            change_id=change.id,
            entry=change.entry,
            seat=change.seat,
            by=by,
            field=change.field,
            value=change.value,
            device_time=change.device_time,
        )
        for change in changes
    ]
    try:
        TableChange.objects.bulk_create(rows)
    except IntegrityError as error:
        raise _Taken from error


def _refuse(verdicts: dict[str, Verdict], fresh: Iterable[Written], why: str) -> list[Verdict]:
    for change in fresh:
        verdicts[change.id] = Verdict(id=change.id, outcome=REFUSED, why=why)
    return list(verdicts.values())


def _closed(seat: PanelSeat) -> str:
    cls = seat.competition_class
    if cls.open_for_changes:
        return f"You do not judge at {seat.seat} in class {cls.number} any more. Show these marks to the office."
    return f"The results of class {cls.number} are official. Show these marks to the office, which can correct them."


def _fault(change: Written) -> Verdict | None:
    """Refuse a change that no sheet of this seat can hold, by itself."""
    try:
        refuse_bad_changes(change.seat.competition_class, change.seat, _single(change))
    except InvalidInput as error:
        why = " ".join(sentence for _, sentence in error.problems) or error.message
        return Verdict(id=change.id, outcome=REFUSED, why=why)
    return None


def _single(change: Written) -> SheetChanges:
    kind, _, item = change.field.partition(".")
    if kind == "limited":
        return SheetChanges(limited=[item])
    fields: dict[str, Any] = {f"{kind}s": {item: change.value}} if item else {_WHOLE[kind]: change.value}
    return SheetChanges(**fields)


@dataclass(slots=True)
class _Draft:
    """A sheet as it stands, on which changes are laid one after the other."""

    sheet: Sheet
    record: dict[str, Any] = field(init=False)
    before: dict[str, Any] = field(init=False)
    undecided: bool = False

    def __post_init__(self) -> None:
        self.record, self.before = sheet_record(self.sheet), sheet_record(self.sheet)

    def take(self, change: Written) -> Verdict:
        value, base = change.value, change.base
        current = self._current(change.field)
        if value == current:
            return Verdict(id=change.id)
        given = self.record["given_result"]
        if given and change.field.startswith("mark.") and value is not None and not change.over_given:
            why = "The office keeps only the result of this sheet."
            return self._held(change, theirs=_given_text(given), why=why, because="given_result")
        if change.field == "signed" and value and self.undecided:
            return self._held(change, theirs=current, why="Decide first what differs, then sign.")
        if self.record["signed"] and change.field != "signed":
            return self._held(change, theirs=current, why="The sheet is signed.", because="signed")
        if base != current:
            return self._held(change, theirs=current, why="Someone else wrote here.")
        self._put(change.field, value)
        return Verdict(id=change.id)

    def changes(self) -> SheetChanges | None:
        """Return what became different, or None."""
        before, now = self.before, self.record
        if now == before:
            return None
        return SheetChanges(
            marks=_different(before["marks"], now["marks"], gone=None),
            remarks=_different(before["remarks"], now["remarks"], gone=""),
            overall_remarks=now["overall_remarks"],
            substitutes=now["substitutes"] if now["substitutes"] != before["substitutes"] else None,
            times=_different(before["times"], now["times"], gone=None),
            remark_times=_different(before["remark_times"], now["remark_times"], gone=None),
            overall_time=now["overall_time"],
            limited=now["limited"],
            signed=now["signed"],
        )

    def _current(self, name: str) -> Any:
        found = _kept(self.record, name)
        return "" if found is None and name.startswith("remark.") else found

    def _put(self, name: str, value: Any) -> None:
        kind, _, item = name.partition(".")
        if not item:
            self.record[_WHOLE[kind]] = value
        elif kind == "limited":
            others = [known for known in self.record["limited"] if known != item]
            self.record["limited"] = [*others, item] if value else others
        else:
            values = self.record[f"{kind}s"]
            values.pop(item, None)
            if value not in {None, ""}:
                values[item] = value
        if kind == "mark":  # what the judge writes is the judge's, also where the office had put a mean in
            self.record["substitutes"] = [known for known in self.record["substitutes"] if known != item]
            self.record["given_result"] = None if value is not None else self.record["given_result"]

    def _held(self, change: Written, *, theirs: Any, why: str, because: str = "") -> Verdict:
        """Hold a change; ``because`` names another field than its own that stands in the way."""
        self.undecided = True
        by, at = _last_writer(self.sheet, because or change.field)
        return Verdict(id=change.id, outcome=HELD, theirs=theirs, by=by, at=at, why=why)


def _last_writer(sheet: Sheet, name: str) -> tuple[str, datetime | None]:
    """Return who wrote a field last, and when: the sheet may have been saved since by someone who left it alone."""
    revisions = SheetRevision.objects.filter(sheet=sheet.pk).select_related("by")  # none where nothing was written yet
    for revision in revisions.order_by("-version"):
        if _kept(revision.before, name) != _kept(revision.after, name):
            return str(revision.by) if revision.by else "", revision.at
    return "", None


def _kept(record: Mapping[str, Any], name: str) -> Any:
    """Return a field of a record; in one from before there were recordings nothing stands for these fields."""
    kind, _, item = name.partition(".")
    if kind == "limited":
        return item in record.get("limited", ())
    return record.get(f"{kind}s", {}).get(item) if item else record.get(_WHOLE[kind])


def _given_text(given: Mapping[str, str]) -> str:
    return f"{given['percentage']} %" if "percentage" in given else f"{given['points']} points"


def _different(before: Mapping[str, Any], now: Mapping[str, Any], *, gone: Any) -> dict[str, Any]:
    return {item: now.get(item, gone) for item in {**before, **now} if before.get(item) != now.get(item)}
