"""Saving a judge's sheet: one transaction that writes the sheet, its revision and the class's new results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.utils import timezone

import scoring
from competitions.models import CompetitionClass, Entry, PanelSeat, Sheet, SheetRevision
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.summaries import is_full, summary_of
from competitions.services.clock import lock_open_class
from competitions.services.results import recompute_class
from riders.errors import Conflict, InvalidInput
from riders.models import User
from riders.transactions import write_transaction
from scoring.exact import format_exact, parse_decimal

_LONGEST_REMARK = 1000
_LONGEST_OVERALL = 5000
_LONGEST_RECORDING = 24 * 60 * 60 * 1000


class Unset:
    """Stands for a value that is left as it is, where None means "none"."""


UNSET = Unset()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetChanges:
    """What to change on a sheet; None leaves a field as it is. A mark of None, a remark of "" is taken away.

    ``marks`` holds whole tenths by item, ``given_result`` ``{"points": ..}``, ``{"percentage": ..}`` or None. Times are
    whole milliseconds of the recording; a time of None is taken away, and so is the time of a remark taken away.
    """

    marks: Mapping[str, int | None] | None = None
    remarks: Mapping[str, str] | None = None
    overall_remarks: str | None = None
    given_result: Mapping[str, str] | Unset | None = UNSET
    typed_total: str | None = None
    substitutes: Sequence[str] | None = None
    times: Mapping[str, int | None] | None = None
    remark_times: Mapping[str, int | None] | None = None
    overall_time: int | Unset | None = UNSET
    limited: Sequence[str] | None = None
    signed: bool | None = None


@dataclass(frozen=True, slots=True)
class SavedSheet:
    """A sheet as saved, its summary and the version of the class that shows it."""

    sheet: Sheet
    summary: scoring.SheetSummary
    class_version: int


def save_sheet(
    *,
    entry: Entry,
    seat: PanelSeat,
    expected_version: int,
    changes: SheetChanges,
    by: User | None,
    source: SheetRevision.Source,
    reason: str = "",
) -> SavedSheet:
    """Save changes to a sheet that is still at ``expected_version`` (0: there is none yet) and recompute the class.

    Raises ``Conflict`` with the sheet as it stands when someone else saved first, ``InvalidInput`` with every problem,
    ``NotAllowed`` when the results are official. Nothing is written in any of these cases.
    """
    with write_transaction():
        competition_class = lock_open_class(entry.competition_class_id)
        sheet = write_sheet(
            competition_class,
            entry=entry,
            seat=seat,
            expected_version=expected_version,
            changes=changes,
            by=by,
            source=source,
            reason=reason,
        )
        settle_status(competition_class, entry)
        version = recompute_class(competition_class)
    return SavedSheet(sheet, summary_of(sheet, competition_class=competition_class), version)


def write_sheet(
    competition_class: CompetitionClass,
    *,
    entry: Entry,
    seat: PanelSeat,
    expected_version: int | None,
    changes: SheetChanges,
    by: User | None,
    source: SheetRevision.Source,
    reason: str = "",
) -> Sheet:
    """Write one sheet and its revision inside the caller's transaction, without recomputing the class.

    For imports, which recompute once at the end; ``expected_version`` None takes the sheet as it stands. Changes that
    change nothing write nothing.
    """
    if seat.competition_class_id != competition_class.pk or entry.competition_class_id != competition_class.pk:
        raise InvalidInput("The entry and the seat are not of the same class.", code="other-class")
    refuse_bad_changes(competition_class, seat, changes)
    sheet = Sheet.objects.select_for_update().filter(entry=entry, seat=seat).first() or Sheet(entry=entry, seat=seat)
    if expected_version is not None and sheet.version != expected_version:
        raise Conflict(
            f"The sheet of entry {entry.number} at {seat.seat} was changed by {sheet.changed_by or 'someone else'} "
            "since you opened it. Compare both, then save what is right.",
            current=sheet,
        )
    before = sheet_record(sheet)
    _apply(sheet, changes)
    after = sheet_record(sheet)
    if after == before and sheet.version:
        return sheet
    _store(sheet, by)
    SheetRevision.objects.create(
        sheet=sheet, version=sheet.version, by=by, source=source, reason=reason[:300], before=before, after=after
    )
    return sheet


def refuse_bad_changes(competition_class: CompetitionClass, seat: PanelSeat, changes: SheetChanges) -> None:
    """Raise ``InvalidInput`` with every problem in the changes, each with its field as in ``marks.7``."""
    items = {item.id: item for item in items_of_seat(test_of(competition_class), seat)}
    problems = [
        *_mark_problems(items, changes.marks or {}),
        *_remark_problems(items, changes),
        *_given_problems(changes.given_result),
        *_time_problems(items, changes),
    ]
    problems += [
        (f"{name}.{item}", f'"{item}" is no item that seat {seat.seat} marks.')
        for name in ("substitutes", "limited")
        for item in getattr(changes, name) or ()
        if item not in items
    ]
    if changes.typed_total is not None and len(changes.typed_total) > 20:
        problems.append(("typed_total", "The total from the paper is too long. Enter points such as 186.5."))
    if problems:
        raise InvalidInput(
            "The sheet was not saved. " + " ".join(sentence for _, sentence in problems[:3]), problems=problems
        )


def settle_status(competition_class: CompetitionClass, entry: Entry) -> None:
    """Let the status follow the sheets: running from the first mark, completed when every seat's sheet is full.

    An outcome that the office has set (eliminated, retired, withdrawn, no-show) stays.
    """
    entry.refresh_from_db(fields=["status", "version"])
    if entry.status not in {Entry.Status.ENTERED, Entry.Status.RUNNING, Entry.Status.COMPLETED}:
        return
    sheets = {sheet.seat_id: sheet for sheet in entry.sheets.all()}
    seats = list(competition_class.seats.all())
    test = test_of(competition_class)
    full = [seat.pk in sheets and is_full(sheets[seat.pk], items_of_seat(test, seat)) for seat in seats]
    status = entry.status
    if seats and all(full):
        status = Entry.Status.COMPLETED
    elif entry.status == Entry.Status.COMPLETED or any(sheet.marks or sheet.given_result for sheet in sheets.values()):
        status = Entry.Status.RUNNING
    if status != entry.status:
        entry.status = status
        entry.version += 1
        entry.save(update_fields=["status", "version"])
    if status == Entry.Status.COMPLETED and competition_class.in_ring_id == entry.pk:
        competition_class.in_ring = None
        competition_class.save(update_fields=["in_ring"])


def sheet_record(sheet: Sheet) -> dict[str, Any]:
    """Return what a revision keeps of a sheet."""
    return {
        "marks": dict(sheet.marks),
        "remarks": dict(sheet.remarks),
        "overall_remarks": sheet.overall_remarks,
        "given_result": sheet.given_result,
        "typed_total": sheet.typed_total,
        "substitutes": list(sheet.substitutes),
        "times": dict(sheet.times),
        "remark_times": dict(sheet.remark_times),
        "overall_time": sheet.overall_time,
        "limited": list(sheet.limited),
        "signed": sheet.signed,
    }


def _mark_problems(items: Mapping[str, scoring.Item], marks: Mapping[str, int | None]) -> list[tuple[str, str]]:
    problems = []
    for item_id, tenths in marks.items():
        item = items.get(item_id)
        if item is None:
            problems.append((f"marks.{item_id}", f'The test has no item "{item_id}" that this seat marks.'))
        elif tenths is not None and tenths not in item.scale:
            problems.append((f"marks.{item_id}", _bad_mark(item, tenths)))
    return problems


def _bad_mark(item: scoring.Item, tenths: object) -> str:
    shown = format_exact(Fraction(tenths, 10)) if isinstance(tenths, int) and not isinstance(tenths, bool) else tenths
    return f"Mark {shown} for {item.label} is not on its scale. {item.scale.instruction()}"


def _remark_problems(items: Mapping[str, scoring.Item], changes: SheetChanges) -> list[tuple[str, str]]:
    problems = []
    for item_id, text in (changes.remarks or {}).items():
        if item_id not in items:
            problems.append((f"remarks.{item_id}", f'The test has no item "{item_id}" that this seat marks.'))
        elif len(text) > _LONGEST_REMARK:
            problems.append(
                (f"remarks.{item_id}", f"The remark has {len(text)} characters. Use at most {_LONGEST_REMARK}.")
            )
    if changes.overall_remarks is not None and len(changes.overall_remarks) > _LONGEST_OVERALL:
        length = len(changes.overall_remarks)
        problems.append(
            ("overall_remarks", f"The overall remarks have {length} characters. Use at most {_LONGEST_OVERALL}.")
        )
    return problems


def _time_problems(items: Mapping[str, scoring.Item], changes: SheetChanges) -> list[tuple[str, str]]:
    given = [(f"times.{item}", item, time) for item, time in (changes.times or {}).items()]
    given += [(f"remark_times.{item}", item, time) for item, time in (changes.remark_times or {}).items()]
    problems = []
    for field, item_id, time in given:
        if item_id not in items:
            problems.append((field, f'The test has no item "{item_id}" that this seat marks.'))
        elif not _is_time(time):
            problems.append((field, _bad_time(time, of=items[item_id].label)))
    if not isinstance(changes.overall_time, Unset) and not _is_time(changes.overall_time):
        problems.append(("overall_time", _bad_time(changes.overall_time, of="the overall remarks")))
    return problems


def _is_time(time: object) -> bool:
    return time is None or (isinstance(time, int) and not isinstance(time, bool) and 0 <= time <= _LONGEST_RECORDING)


def _bad_time(time: object, *, of: str) -> str:
    return (
        f"The time of {of}, {str(time)[:40]}, is no moment of a recording. Give whole milliseconds from its beginning, "
        "from 0 to 24 hours."
    )


def _given_problems(given: Mapping[str, str] | Unset | None) -> list[tuple[str, str]]:
    if isinstance(given, Unset) or given is None:
        return []
    sentence = 'Give either the points of the sheet, such as "186.5", or its percentage, such as "67.273".'
    if len(given) != 1 or not set(given) <= {"points", "percentage"}:
        return [("given_result", sentence)]
    ((kind, value),) = given.items()
    try:
        number = parse_decimal(value)
    except ValueError:
        return [("given_result", f'"{str(value)[:40]}" is not a plain decimal number. {sentence}')]
    if number < 0 or (kind == "percentage" and number > 100):
        return [("given_result", f'"{value}" is out of range. {sentence}')]
    return []


def _apply(sheet: Sheet, changes: SheetChanges) -> None:
    if changes.marks is not None:
        merged = {**sheet.marks, **changes.marks}
        sheet.marks = {item: tenths for item, tenths in merged.items() if tenths is not None}
        if any(tenths is not None for tenths in changes.marks.values()):
            sheet.given_result = None
    if changes.remarks is not None:
        texts = {**sheet.remarks, **{item: clean_text(text) for item, text in changes.remarks.items()}}
        sheet.remarks = {item: text for item, text in texts.items() if text}
        gone = set(changes.remarks) - set(sheet.remarks)
        sheet.remark_times = {item: time for item, time in sheet.remark_times.items() if item not in gone}
    if changes.overall_remarks is not None:
        sheet.overall_remarks = clean_text(changes.overall_remarks)
    if not isinstance(changes.given_result, Unset):
        sheet.given_result = None if changes.given_result is None else dict(changes.given_result)
    if changes.typed_total is not None:
        sheet.typed_total = changes.typed_total.strip()
    if changes.substitutes is not None:
        sheet.substitutes = list(changes.substitutes)
    _apply_times(sheet, changes)
    if changes.signed is not None:
        sheet.signed = changes.signed


def _apply_times(sheet: Sheet, changes: SheetChanges) -> None:
    for name in ("times", "remark_times"):
        given = getattr(changes, name)
        if given is not None:
            merged = {**getattr(sheet, name), **given}
            setattr(sheet, name, {item: time for item, time in merged.items() if time is not None})
    if not isinstance(changes.overall_time, Unset):
        sheet.overall_time = changes.overall_time
    if changes.limited is not None:
        sheet.limited = list(dict.fromkeys(changes.limited))


def clean_text(text: str) -> str:
    """Trim a remark and drop NUL characters, which PostgreSQL cannot hold; everything else stays as written."""
    return text.replace("\x00", "").replace("\r\n", "\n").strip()


def _store(sheet: Sheet, by: User | None) -> None:
    """Write the sheet on condition that its version is still the one read: the guard that holds on every database."""
    version = sheet.version
    sheet.version = version + 1
    sheet.changed_at = timezone.now()
    sheet.changed_by = by
    if sheet.pk is None:
        sheet.save(force_insert=True)
        return
    written = Sheet.objects.filter(pk=sheet.pk, version=version).update(
        version=sheet.version, changed_at=sheet.changed_at, changed_by=by, **sheet_record(sheet)
    )
    if not written:
        raise Conflict("The sheet was changed by someone else at this moment. Compare both, then save what is right.")
