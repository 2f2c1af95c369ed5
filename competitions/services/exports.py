"""Shows into files, in the shapes that ``competitions.services.imports`` reads: what goes out comes in the same."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.db.models import F

from competitions.models import Competition, CompetitionClass, Entry, Sheet
from competitions.services.imports.entries import ENTRY_COLUMNS
from competitions.services.imports.marks import MARK_COLUMNS
from competitions.services.imports.outcomes import FOLLOWING, OUTCOME_COLUMNS
from riders.csvrows import write_rows
from scoring.marks import mark_text


def competition_document(competition: Competition) -> dict[str, Any]:
    """Return a competition, its classes and panels as ``competition/1``."""
    classes = competition.classes.select_related("test", "rule_set").prefetch_related("seats__judge")
    return {
        "format": "competition/1",
        "id": competition.slug,
        "title": competition.title,
        "venue": competition.venue,
        "organiser": competition.organiser,
        "starts_on": competition.starts_on.isoformat(),
        "ends_on": competition.ends_on.isoformat(),
        "time_zone": competition.time_zone,
        "association": competition.association.slug if competition.association else None,
        "recognised": competition.recognised,
        "seat_limit": competition.seat_limit,
        "movement_limit": competition.movement_limit,
        "sheets_signed": competition.sheets_signed,
        "second_keying": competition.second_keying,
        "second_keying_remarks": competition.second_keying_remarks,
        "classes": [_class(found) for found in classes.order_by(*_in_order_of_classes())],
    }


def _in_order_of_classes(path: str = "") -> tuple[Any, ...]:
    """Order by classes as the days go on, the same in every database: those without a start last in their day."""
    return f"{path}date", F(f"{path}starts_at").asc(nulls_last=True), f"{path}number", f"{path}pk"


def _class(competition_class: CompetitionClass) -> dict[str, Any]:
    starts_at = competition_class.starts_at
    return {
        "number": competition_class.number,
        "title": competition_class.title,
        "level": competition_class.level,
        "division": competition_class.division,
        "test": competition_class.test.key,
        "rules": competition_class.rule_set.key,
        "arena": competition_class.arena,
        "date": competition_class.date.isoformat(),
        "starts_at": starts_at.strftime("%H:%M") if starts_at else None,
        "interval_seconds": competition_class.interval_seconds,
        "breaks": competition_class.breaks,
        **({"from_recordings": True} if competition_class.from_recordings else {}),
        "second_keying": competition_class.second_keying or None,
        "panel": [
            {
                "seat": seat.seat,
                "judge": seat.judge.name if seat.judge else "",
                "grade": seat.judge.grade if seat.judge else "",
                **({"parts": seat.parts} if seat.parts else {}),
            }
            for seat in competition_class.seats.all()
        ],
        "teams": competition_class.team_rules,
    }


def entries_csv(competition: Competition) -> Iterator[str]:
    """Yield the lines of ``entries.csv``, in the running orders."""
    return write_rows(ENTRY_COLUMNS, map(_entry_row, _entries(competition)))


def marks_csv(competition: Competition) -> Iterator[str]:
    """Yield the lines of ``marks.csv``: a row a mark in the order of the sheet, then one about the whole of it.

    Sheets of which only the result is known have no marks; ``class/1`` carries them.
    """
    sheets = (
        Sheet.objects.filter(entry__competition_class__competition=competition)
        .select_related("entry__competition_class__test", "seat")
        .order_by(
            *_in_order_of_classes("entry__competition_class__"),
            *("entry__order", "entry__number", "seat__order", "seat__pk"),
        )
    )
    return write_rows(MARK_COLUMNS, (row for sheet in sheets for row in _mark_rows(sheet)))


def outcomes_csv(competition: Competition) -> Iterator[str]:
    """Yield the lines of ``outcomes.csv``: only entries of which the marks do not say everything."""
    return write_rows(OUTCOME_COLUMNS, (row for entry in _entries(competition) for row in _outcome_rows(entry)))


def _entries(competition: Competition) -> Iterator[Entry]:
    return (
        Entry.objects.filter(competition_class__competition=competition)
        .select_related("competition_class__competition", "pair__rider", "pair__horse__owner")
        .prefetch_related("sheets")
        .order_by(*_in_order_of_classes("competition_class__"), "order", "number", "pk")
        .iterator(chunk_size=1000)
    )


def _place(entry: Entry) -> dict[str, str]:
    return {"class": entry.competition_class.number, "number": entry.number}


def _entry_row(entry: Entry) -> Mapping[str, str]:
    rider, horse = entry.pair.rider, entry.pair.horse
    zone = entry.competition_class.competition.zone
    return {
        **_place(entry),
        "order": str(entry.order or ""),
        "ride_time": entry.ride_time.astimezone(zone).strftime("%H:%M") if entry.ride_time else "",
        "rider": rider.name,
        "rider_registration": rider.registration,
        "horse": horse.name,
        "horse_registration": horse.registration,
        "horse_born": str(horse.born or ""),
        "owner": horse.owner.name if horse.owner else "",
        "team": entry.team,
        "hors_concours": _flag(entry.hors_concours),
    }


def _mark_rows(sheet: Sheet) -> Iterator[Mapping[str, str]]:
    place = {**_place(sheet.entry), "seat": sheet.seat.seat}
    for item in sheet.entry.competition_class.test.document["items"]:
        mark, remark = sheet.marks.get(item["id"]), sheet.remarks.get(item["id"], "")
        if mark is not None or remark:
            shown = "" if mark is None else mark_text(mark)
            yield {**place, "item": item["id"], "mark": shown, "remark": remark}
    if sheet.overall_remarks or sheet.signed:
        yield {**place, "remark": sheet.overall_remarks, "signed": "true" if sheet.signed else ""}


def _outcome_rows(entry: Entry) -> Iterator[Mapping[str, str]]:
    waiting_in_ring = entry.status == Entry.Status.RUNNING and not any(sheet.marks for sheet in entry.sheets.all())
    status = entry.status if entry.status not in FOLLOWING or waiting_in_ring else ""
    outcome = {"status": status, "errors": str(entry.errors or ""), "reason": entry.status_reason}
    if not any(outcome.values()) and not entry.deductions:
        return
    for index, deduction in enumerate(entry.deductions or [{}]):
        row = {**_place(entry), **(outcome if index == 0 else {})}
        for name in ("off", "amount", "seat", "part", "reason"):
            row[f"deduction_{name}"] = str(deduction.get(name) or "")
        yield row


def _flag(value: bool) -> str:
    return "true" if value else "false"
