"""What a device sends: read strictly, handed to the service, and answered with what stands on the server now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Q

from competitions.models import Entry, PanelSeat, Sheet
from competitions.services.sheets import clean_text
from competitions.services.table import Verdict, Written
from competitions.table.daydocument import MOST_ERRORS, entry_state, sheet_state
from competitions.table.days import seats_to_write
from riders.errors import InvalidInput
from riders.models import User

MOST_CHANGES = 600
_LONGEST_TOLD = 200
_OF_ITEMS = {"mark", "remark", "time", "remark_time", "limited"}


def read_changes(document: Any, *, by: User) -> tuple[list[Written], list[Verdict]]:
    """Return the changes that can be taken, and the verdicts over those that cannot.

    Raises ``InvalidInput`` where what was sent is no list of changes at all: no device of ours sends that.
    """
    rows = document.get("changes") if isinstance(document, Mapping) else None
    if not isinstance(rows, list) or len(rows) > MOST_CHANGES or not all(_is_row(row) for row in rows):
        raise InvalidInput(f"Send a list of at most {MOST_CHANGES} changes, each with id, entry, seat and field.")
    if len({row["id"] for row in rows}) < len(rows):
        raise InvalidInput("Two changes have the same id. Give each one of its own.")
    seats = _seats(rows, by=by)
    entries = Entry.objects.select_related("competition_class__competition").in_bulk({row["entry"] for row in rows})
    changes, refused = [], []
    for row in rows:
        seat, entry = seats.get(row["seat"]), entries.get(row["entry"])
        if seat is None or entry is None or entry.competition_class_id != seat.competition_class_id:
            refused.append(Verdict(id=row["id"], outcome="refused", why=_UNKNOWN))
        elif not _is_value(row["field"], _clean(row.get("value"))):
            refused.append(Verdict(id=row["id"], outcome="refused", why="This is nothing that stands on a sheet."))
        else:
            entry.competition_class = seat.competition_class
            changes.append(_written(row, entry=entry, seat=seat))
    return changes, refused


_UNKNOWN = (
    "This sheet is not there any more, or it is not yours: the entry or the seat was changed. Show it to the office."
)


def states_after(changes: Iterable[Written]) -> dict[str, list[dict[str, Any]]]:
    """Return every sheet and entry that was touched, as it stands now."""
    places = {(change.entry.pk, change.seat.pk) for change in changes}
    wanted = Q(pk__in=[])
    for entry, seat in places:
        wanted |= Q(entry=entry, seat=seat)
    entries = Entry.objects.filter(pk__in={entry for entry, _ in places})
    return {
        "sheets": [sheet_state(sheet) for sheet in Sheet.objects.filter(wanted)],
        "entries": [entry_state(entry) for entry in entries],
    }


def verdict_document(verdict: Verdict) -> dict[str, Any]:
    return {
        "id": verdict.id,
        "outcome": verdict.outcome,
        "why": verdict.why,
        "theirs": verdict.theirs,
        "by": verdict.by,
        "at": verdict.at.isoformat() if verdict.at else "",
    }


def _seats(rows: Sequence[Mapping[str, Any]], *, by: User) -> dict[int, PanelSeat]:
    found = seats_to_write(by).filter(pk__in={row["seat"] for row in rows})
    return {
        seat.pk: seat
        for seat in found.select_related(
            "judge",
            "competition_class__competition",
            "competition_class__test",
            "competition_class__rule_set",
        )
    }


def _is_row(row: Any) -> bool:
    return (
        isinstance(row, Mapping)
        and isinstance(row.get("id"), str)
        and 8 <= len(row["id"]) <= 40
        and row["id"].isprintable()
        and all(_is_whole(row.get(name)) and 0 < row[name] < 2**62 for name in ("entry", "seat"))
        and isinstance(row.get("field"), str)
        and len(row["field"]) <= 60
    )


def _is_value(field: str, value: Any) -> bool:
    kind, _, item = field.partition(".")
    if item:
        return kind in _OF_ITEMS and _is_of_item(kind, value)
    if kind == "errors":
        return _is_whole(value) and 0 <= value <= MOST_ERRORS
    if kind == "told":
        return _is_text(value) and 0 < len(value) <= _LONGEST_TOLD
    if kind == "overall_time":
        return value is None or _is_whole(value)
    return isinstance(value, bool) if kind == "signed" else kind == "overall" and _is_text(value)


def _is_of_item(kind: str, value: Any) -> bool:
    if kind == "remark":
        return _is_text(value)
    return isinstance(value, bool) if kind == "limited" else value is None or _is_whole(value)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_text(value: Any) -> bool:
    """Tell text that can be stored from half characters, which no database takes."""
    return isinstance(value, str) and not any("\ud800" <= letter <= "\udfff" for letter in value)


def _clean(value: Any) -> Any:
    return clean_text(value) if isinstance(value, str) else value


def _written(row: Mapping[str, Any], *, entry: Entry, seat: PanelSeat) -> Written:
    return Written(
        id=row["id"],
        entry=entry,
        seat=seat,
        field=row["field"],
        value=_clean(row.get("value")),
        base=_clean(row.get("base")),
        over_given=row.get("overGiven") is True,
        device_time="".join(filter(str.isprintable, str(row.get("deviceTime") or "")[:40])),
    )
