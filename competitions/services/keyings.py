"""Keying a sheet of paper twice: the second keying, without sight of the first, and deciding where the two differ.

Agreement makes a sheet final by itself; a difference is decided with a reason, and what is decided is written on the
sheet in the same transaction. A sheet that is changed after that differs again, in what was changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
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
from competitions.selectors.keyings import (
    KeyingDifference,
    Keyings,
    chosen_sheets,
    keyings_of_sheet,
    labels_of,
    mode_of,
    plain,
    table_signed,
    writers_of,
)
from competitions.services.clock import lock_open_class, raise_version
from competitions.services.entries import write_outcome
from competitions.services.results import recompute_class
from competitions.services.sheets import UNSET, SheetChanges, Unset, settle_status, write_sheet
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction
from scoring.exact import format_units, parse_decimal
from scoring.marks import InvalidMark, parse_typed_mark

_LONGEST = {"remark": 1000, "overall": 5000}
_DEDUCTED = {"deducted", "deducted-percent"}
_YES, _NO = {"yes", "1", "true"}, {"", "no", "0", "false"}
_MOST_ERRORS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Settlement:
    """What the paper says in one field in which the keyings differ, and why that is so.

    ``first`` and ``second`` are what the decider saw side by side.
    """

    field: str
    value: str
    reason: str
    first: str
    second: str


def key_again(*, entry: Entry, seat: PanelSeat, read: Mapping[str, str], by: User, seen: int | None = None) -> Keyings:
    """Keep a second keying of a sheet and return how the two compare; the sheet itself stays as it is.

    ``read`` is text by field as a person types it; a field that is not there says nothing (0 for ``errors`` and
    deductions). ``seen`` is the number of the last second keying that the keyer's page knew of, 0 for none: where
    somebody else came first, ``Conflict``. Refused to everyone who wrote on the sheet or has seen it.
    """
    with write_transaction():
        competition_class = lock_open_class(entry.competition_class_id)
        sheet = _needed_sheet(competition_class, entry, seat)
        refuse_second_keyer(sheet, by)
        last = sheet.second_keyings.select_related("by").order_by("-pk").first()
        if seen is not None and seen != (last.pk if last else 0):
            raise Conflict(
                f"{(last and last.by) or 'Someone else'} has keyed this sheet a second time meanwhile, so yours is not "
                "needed. Save once more only if yours is to count instead.",
                current=last,
            )
        items = items_of_seat(test_of(competition_class), seat)
        clean = clean_reading(read, items=items, remarks=competition_class.competition.second_keying_remarks)
        SecondKeying.objects.create(sheet=sheet, by=by, first_version=sheet.version, read=clean)
        raise_version(competition_class)
        compared = keyings_of_sheet(competition_class, entry=entry, seat=seat)
    assert compared is not None  # noqa: S101 - the sheet was found to need it above
    return compared


def settle_differences(
    *, entry: Entry, seat: PanelSeat, settlements: Sequence[Settlement], by: User | None, keying: int | None = None
) -> Keyings | None:
    """Decide what the paper says where the two keyings differ; what is decided is written on the sheet.

    Returns how the two compare then, or None where a gap was decided, so that the sheet has to be completed first.

    ``keying`` is the number of the second keying that was looked at. Where it, or what stood side by side, is another
    by now, ``Conflict``; where a field does not differ, or the reason is missing, ``InvalidInput`` with every problem.
    """
    with write_transaction():
        competition_class = lock_open_class(entry.competition_class_id)
        _needed_sheet(competition_class, entry, seat)
        now = keyings_of_sheet(competition_class, entry=entry, seat=seat)
        if now is None or now.keying is None:
            raise NotAllowed("This sheet has not been keyed a second time yet.", code="not-keyed-twice")
        if keying is not None and keying != now.keying.pk:
            raise Conflict("Somebody keyed this sheet once more since you looked at it. Look again.", current=now)
        decided = _decided(now, settlements, items_of_seat(test_of(competition_class), seat))
        why = "; ".join(dict.fromkeys(settlement.reason.strip() for settlement in settlements))
        changes, errors = _changes(now, decided)
        write_sheet(
            competition_class,
            entry=entry,
            seat=seat,
            expected_version=None,
            changes=changes,
            by=by,
            source=SheetRevision.Source.DESK,
            reason=f"keyed twice: {why}",
        )
        if errors is not None:
            write_outcome(entry, expected_version=None, by=by, why=f"keyed twice: {why}", errors=errors)
        KeyingDecision.objects.bulk_create(
            KeyingDecision(
                keying=now.keying,
                field=settlement.field,
                first=settlement.first,
                second=settlement.second,
                value=decided[settlement.field],
                reason=settlement.reason.strip(),
                by=by,
            )
            for settlement in settlements
        )
        settle_status(competition_class, entry)
        recompute_class(competition_class)
    entry.refresh_from_db()
    return keyings_of_sheet(competition_class, entry=entry, seat=seat)


def choose_sheets(competition_class: CompetitionClass, *, places: Iterable[tuple[int, int]], by: User | None) -> int:
    """Let exactly these (entry, seat) be keyed twice in a class that keys chosen sheets; return how many changed."""
    wanted = set(places)
    with write_transaction():
        current = lock_open_class(competition_class.pk)
        if mode_of(current) != SecondKeyingMode.CHOSEN:
            raise NotAllowed(
                f"Class {current.number} does not key chosen sheets twice. Set that in its details first.",
                code="not-chosen-mode",
            )
        entries = set(current.entries.values_list("pk", flat=True))
        seats = set(current.seats.values_list("pk", flat=True))
        if any(entry not in entries or seat not in seats for entry, seat in wanted):
            message = "A chosen sheet is not of this class. Load the list again and choose from it."
            raise InvalidInput(message, problems=[("sheets", message)])
        before = chosen_sheets(current)
        changed = sorted(wanted ^ before)
        SheetChoice.objects.bulk_create(
            SheetChoice(entry_id=entry, seat_id=seat, chosen=(entry, seat) in wanted, by=by) for entry, seat in changed
        )
        if changed:
            raise_version(current)
    return len(changed)


def note_first_seen(sheet: Sheet, *, by: User) -> None:
    """Note that someone opens the first keying of a sheet that waits for its second."""
    with write_transaction():
        FirstKeyingSeen.objects.create(sheet=sheet, by=by)


def refuse_second_keyer(sheet: Sheet, by: User) -> None:
    """Raise ``NotAllowed`` where this person cannot key the sheet blind."""
    if sheet.second_keyings.filter(by=by).exists():
        raise NotAllowed(
            "You have keyed this sheet a second time already and have seen where it differs. Decide the differences "
            "with a reason, or let a third person key it.",
            code="same-person",
        )
    if by.pk in writers_of([sheet])[sheet.pk]:
        raise NotAllowed(
            "You keyed this sheet, or opened its first keying, so the second keying has to be someone else's.",
            code="same-person",
        )


def clean_reading(read: Mapping[str, str], *, items: Sequence[scoring.Item], remarks: bool) -> dict[str, str]:
    """Return every compared field as it is kept; raise ``InvalidInput`` with every problem, each with its field."""
    fields = labels_of(items, remarks=remarks)
    by_id = {item.id: item for item in items}
    problems = [
        (name, f'"{name[:60]}" is no field of this sheet that is keyed twice.') for name in read if name not in fields
    ]
    clean = {}
    for name in fields:
        try:
            clean[name] = _clean_value(name, read.get(name, ""), by_id)
        except ValueError as error:
            problems.append((name, str(error)))
    marked = [name for name in clean if name.startswith("mark.") and clean[name]]
    if clean.get("given") and marked:
        problems.append(("given", "This sheet has marks and a result without marks. Leave one of the two empty."))
    if problems:
        raise InvalidInput(
            "The second keying was not saved. " + " ".join(sentence for _, sentence in problems[:3]),
            problems=problems,
        )
    return clean


def _needed_sheet(competition_class: CompetitionClass, entry: Entry, seat: PanelSeat) -> Sheet:
    """Return the sheet locked, or say why it is not keyed twice."""
    if seat.competition_class_id != competition_class.pk or entry.competition_class_id != competition_class.pk:
        raise InvalidInput("The entry and the seat are not of the same class.", code="other-class")
    sheet = Sheet.objects.select_for_update().filter(entry=entry, seat=seat).first()
    if sheet is not None and keyings_of_sheet(competition_class, entry=entry, seat=seat) is not None:
        sheet.entry, sheet.seat = entry, seat
        return sheet
    mode = mode_of(competition_class)
    if mode == SecondKeyingMode.OFF:
        why = f"Sheets of class {competition_class.number} are keyed once. Set in its details which are keyed twice."
    elif sheet is not None and table_signed([sheet.pk]):
        why = "This sheet was signed at the judge's table, so there is no paper to key a second time."
    elif mode == SecondKeyingMode.CHOSEN and (entry.pk, seat.pk) not in chosen_sheets(competition_class):
        why = "This sheet is not chosen to be keyed twice. Choose it in the list of the class first."
    else:
        why = "The first keying of this sheet is not complete, or the ride counts for nothing. Complete it first."
    raise NotAllowed(why, code="not-keyed-twice")


def _clean_value(name: str, text: str, items: Mapping[str, scoring.Item]) -> str:
    """Return a typed value as it is kept, or raise ``ValueError`` with a sentence."""
    kind, _, item_id = name.partition(".")
    text = " ".join(text.replace("\x00", "").split())
    if kind == "mark":
        return _clean_mark(items[item_id], text)
    if kind in _LONGEST:
        if len(text) > _LONGEST[kind]:
            raise ValueError(f"The remark has {len(text)} characters. Use at most {_LONGEST[kind]}.")
        return text
    if kind == "signed":
        if text.lower() not in _YES | _NO:
            raise ValueError(f'"{text[:20]}" does not say whether the sheet is signed. Enter yes or no.')
        return "yes" if text.lower() in _YES else ""
    if kind == "errors":
        return _clean_errors(text)
    return _clean_given(text) if kind == "given" else _clean_number(kind, text)


def _clean_mark(item: scoring.Item, text: str) -> str:
    if not text:
        return ""
    try:
        return format_units(parse_typed_mark(text, item.scale), decimals=1)
    except InvalidMark as error:
        raise ValueError(f"{item.label[:1].upper()}{item.label[1:]}: {error}") from None


def _clean_errors(text: str) -> str:
    text = text or "0"
    if not (text.isascii() and text.isdigit()) or len(text) > 4 or int(text) > _MOST_ERRORS:
        raise ValueError(
            f'"{text[:20]}" is not a number of errors of course. Enter a whole number from 0 to {_MOST_ERRORS}.'
        )
    return str(int(text))


def _clean_number(kind: str, text: str) -> str:
    if not text:
        return "0" if kind in _DEDUCTED else ""
    try:
        value = parse_decimal(text.replace(",", "."))
    except ValueError:
        value = None
    if value is None or value < 0 or len(text) > 20:
        what = "the total of the paper, such as 186.5" if kind == "total" else "what comes off, such as 2"
        raise ValueError(f'"{text[:20]}" is not a number. Enter {what}.')
    return plain(text)


def _clean_given(text: str) -> str:
    if not text:
        return ""
    kind, _, number = text.partition(" ")
    sentence = 'Enter "points 186.5" or "percentage 67.273".'
    if kind not in {"points", "percentage"}:
        raise ValueError(f'"{text[:40]}" is no result. {sentence}')
    try:
        value = parse_decimal(number.replace(",", "."))
    except ValueError:
        raise ValueError(f'"{number[:40]}" is not a plain decimal number. {sentence}') from None
    if value < 0 or (kind == "percentage" and value > 100):
        raise ValueError(f'"{number[:40]}" is out of range. {sentence}')
    return f"{kind} {plain(number)}"


def _decided(now: Keyings, settlements: Sequence[Settlement], items: Sequence[scoring.Item]) -> dict[str, str]:
    """Return the decided value of each field, or raise with every problem."""
    open_fields = {difference.field: difference for difference in now.differences}
    by_id = {item.id: item for item in items}
    problems: list[tuple[str, str]] = []
    decided: dict[str, str] = {}
    for settlement in settlements:
        difference = open_fields.get(settlement.field)
        if difference is None:
            sentence = "This does not differ, or is decided already. Look at the comparison again."
            problems.append((settlement.field[:60], sentence))
            continue
        if (settlement.first, settlement.second) != (difference.first, difference.second):
            raise Conflict("What stands side by side has changed since you looked at it. Look again.", current=now)
        if settlement.field in decided:
            problems.append((settlement.field, f"{difference.label} is decided twice. Decide it once."))
            continue
        problems += _settlement_problems(settlement, difference)
        try:
            decided[settlement.field] = _clean_value(settlement.field, settlement.value, by_id)
        except ValueError as error:
            problems.append((settlement.field, str(error)))
            continue
        if settlement.field in _DEDUCTED and decided[settlement.field] != difference.first:
            sentence = (
                f"{difference.label}: each deduction has its own reason. Change them on the page of the ride, then the "
                f"keyings agree; here you can only say that {difference.first} is right."
            )
            problems.append((settlement.field, sentence))
    if not settlements:
        problems.append(("settlements", "Nothing is decided. Choose what the paper says for at least one field."))
    if problems:
        raise InvalidInput("Nothing was decided. " + " ".join(text for _, text in problems[:3]), problems=problems)
    return decided


def _settlement_problems(settlement: Settlement, difference: KeyingDifference) -> list[tuple[str, str]]:
    reason = settlement.reason.strip()
    if not reason:
        return [(settlement.field, f"{difference.label}: say why the paper is to be read so.")]
    if len(reason) > 300:
        return [(settlement.field, f"{difference.label}: the reason is too long. Use at most 300 characters.")]
    return []


@dataclass(slots=True)
class _SheetFields:
    marks: dict[str, int | None] = field(default_factory=dict)
    remarks: dict[str, str] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)


def _changes(now: Keyings, decided: Mapping[str, str]) -> tuple[SheetChanges, int | None]:
    """Return what the decisions change on the sheet and, where they are about them, the errors of course."""
    standing = {difference.field: difference.first for difference in now.differences}
    found, errors = _SheetFields(), None
    for name, value in decided.items():
        kind, _, item = name.partition(".")
        if value == standing[name] or kind in _DEDUCTED:
            continue
        if kind == "mark":
            found.marks[item] = int(parse_decimal(value) * 10) if value else None
        elif kind == "remark":
            found.remarks[item] = value
        elif kind == "errors":
            errors = int(value)
        else:
            found.values[kind] = value
    given: Mapping[str, str] | Unset | None = UNSET
    if "given" in found.values:
        given = dict([found.values["given"].split(" ", 1)]) if found.values["given"] else None
    signed = found.values.get("signed")
    changes = SheetChanges(
        marks=found.marks or None,
        remarks=found.remarks or None,
        overall_remarks=found.values.get("overall"),
        given_result=given,
        typed_total=found.values.get("total"),
        substitutes=[item for item in now.sheet.substitutes if item not in found.marks] if found.marks else None,
        signed=None if signed is None else bool(signed),
    )
    return changes, errors
