"""A day's sheets as one document: everything a device needs to write them with the network gone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.urls import reverse

import scoring
from competitions import policy
from competitions.models import CompetitionClass, Entry, PanelSeat, Sheet
from competitions.selectors.arithmetic import deductions_for_seat, sheet_arithmetic
from competitions.selectors.consequences import consequences
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.panels import presiding_seat
from competitions.selectors.phrases import phrases_of_judge
from competitions.selectors.recordings import kept_recording
from competitions.table.days import Day, seats_of_day
from riders.models import User
from scoring.exact import format_exact

MOST_ERRORS = 20


def day_document(day: Day, *, user: User) -> dict[str, Any]:
    seats = seats_of_day(user, day.classes)
    by_class: dict[int, list[PanelSeat]] = {}
    for seat in seats:
        by_class.setdefault(seat.competition_class_id, []).append(seat)
    classes = CompetitionClass.objects.select_related("competition", "test", "rule_set").in_bulk(list(by_class))
    ordered = [classes[cls.pk] for cls in day.classes if cls.pk in classes]
    sheets = _sheets(seats)
    return {
        "user": {"id": user.pk, "name": str(user)},
        "slug": day.competition.slug,
        "title": day.competition.title,
        "date": day.date.isoformat(),
        "zone": day.competition.time_zone,
        "classes": [_class(cls, by_class[cls.pk], user=user) for cls in ordered],
        "sheets": [sheet_state(sheet) for sheet in sheets],
        "phrases": _phrases(seats, day=day, user=user),
    }


def sheet_state(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as the device keeps it; version 0 is one on which nothing has been written."""
    return {
        "entry": sheet.entry_id,
        "seat": sheet.seat_id,
        "version": sheet.version,
        "marks": sheet.marks,
        "remarks": sheet.remarks,
        "overall": sheet.overall_remarks,
        "signed": sheet.signed,
        "given": sheet.given_result,
        "substitutes": sheet.substitutes,
        "times": sheet.times,
        "remarkTimes": sheet.remark_times,
        "overallTime": sheet.overall_time,
        "limited": sheet.limited,
    }


def entry_state(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.pk,
        "version": entry.version,
        "errors": entry.errors,
        "status": entry.status,
        "statusText": entry.get_status_display(),
    }


def _sheets(seats: Sequence[PanelSeat]) -> list[Sheet]:
    return list(Sheet.objects.filter(seat__in=seats).order_by("entry_id", "seat__order", "pk"))


def _class(cls: CompetitionClass, seats: Iterable[PanelSeat], *, user: User) -> dict[str, Any]:
    found = cls.entries.select_related("pair__rider", "pair__horse").order_by("order", "number", "pk")
    entries = list(found.prefetch_related("recordings") if cls.from_recordings else found)
    president = presiding_seat(cls.seats.all())
    return {
        "id": cls.pk,
        "number": cls.number,
        "title": cls.title,
        "test": cls.test.title,
        "arena": cls.arena,
        "open": cls.open_for_changes,
        "fromRecordings": cls.from_recordings,
        "inRing": cls.in_ring_id,
        "president": president.seat if president else "",
        "consequences": consequences(cls, most=MOST_ERRORS),
        "seats": [_seat(cls, seat, user=user) for seat in seats],
        "entries": [_entry(entry, cls=cls, seats=seats) | _recording(entry, cls=cls) for entry in entries],
    }


def _seat(cls: CompetitionClass, seat: PanelSeat, *, user: User) -> dict[str, Any]:
    seat.competition_class = cls
    items = items_of_seat(test_of(cls), seat)
    ordered = [item for item in items if not item.collective] + [item for item in items if item.collective]
    own = seat.judge is not None and seat.judge.user_id == user.pk
    return {
        "id": seat.pk,
        "seat": seat.seat,
        "judge": seat.judge.name if seat.judge else "",
        "countsErrors": policy.can(user, "count-errors", seat),
        "compares": own and not cls.open_for_changes,
        "lines": [_line(item) for item in ordered],
        "arithmetic": sheet_arithmetic(cls, seat=seat),
    }


def _line(item: scoring.Item) -> dict[str, Any]:
    return {
        "id": item.id,
        "at": item.at,
        "text": item.text,
        "label": item.label,
        "directive": item.directive,
        "family": item.family,
        "coefficient": format_exact(item.coefficient),
        "collective": item.collective,
        "scale": {"minimum": item.scale.minimum, "maximum": item.scale.maximum, "step": item.scale.step},
    }


def _entry(entry: Entry, *, cls: CompetitionClass, seats: Iterable[PanelSeat]) -> dict[str, Any]:
    return {
        **entry_state(entry),
        "number": entry.number,
        "rider": entry.pair.rider.name,
        "horse": entry.pair.horse.name,
        "time": f"{entry.ride_time.astimezone(cls.competition.zone):%H:%M}" if entry.ride_time else "",
        "deductions": {str(seat.pk): deductions_for_seat(entry, seat=seat) for seat in seats},
    }


def _recording(entry: Entry, *, cls: CompetitionClass) -> dict[str, Any]:
    """Return where a device finds the film of a ride; nothing in a class at the arena."""
    recording = kept_recording(entry) if cls.from_recordings else None
    if recording is None:
        return {}
    film = "" if recording.link else reverse("api-recording-film", args=[entry.pk])
    return {"recording": {"film": film, "link": recording.link, "camera": recording.camera}}


def _phrases(seats: Iterable[PanelSeat], *, day: Day, user: User) -> dict[str, list[list[object]]]:
    """Return each judge's phrases by judge; the office learns nothing from other shows."""
    judges = {seat.judge.pk: seat.judge for seat in seats if seat.judge}
    return {
        judge.name: phrases_of_judge(judge, only=None if judge.user_id == user.pk else day.competition)
        for judge in judges.values()
    }
