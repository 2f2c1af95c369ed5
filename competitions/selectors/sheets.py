"""A sheet as people read it: line by line with the mark, the remark and where most was lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any

import scoring
from competitions.models import CompetitionClass, Entry, Sheet
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.recordings import judged_recording
from competitions.selectors.summaries import summary_of
from scoring.exact import format_exact
from scoring.marks import mark_text


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One item of the sheet; ``mark``, ``points`` and ``lost`` are text, None without a mark.

    ``time`` and ``remark_time`` are moments of the recording in milliseconds. Where a line is ``limited`` the camera
    showed too little of it.
    """

    item_id: str
    at: str
    text: str
    directive: str
    family: str
    coefficient: str
    collective: bool
    part: str
    mark: str | None
    points: str | None
    lost: str | None
    remark: str
    substitute: bool
    time: int | None = None
    remark_time: int | None = None
    limited: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """One judge's sheet of one entry. ``lost`` names the lines that cost most, the costliest first.

    ``filmed_from`` says where the camera stood whose recording was judged; nothing for a ride seen at the arena.
    """

    sheet_id: int
    version: int
    seat: str
    judge: str
    number: str
    rider: str
    horse: str
    lines: tuple[SheetLine, ...]
    overall_remarks: str
    errors: int
    deductions: tuple[Mapping[str, Any], ...]
    given_result: Mapping[str, str] | None
    typed_total: str
    summary: scoring.SheetSummary
    signed: bool
    changed_at: datetime | None
    lost: tuple[SheetLine, ...]
    overall_time: int | None = None
    filmed_from: str = ""

    @property
    def limited(self) -> tuple[SheetLine, ...]:
        """The lines of which the camera showed too little."""
        return tuple(line for line in self.lines if line.limited)

    @property
    def recorded(self) -> str:
        """Say that a recording was judged, filmed from where, and what it hid; nothing of a ride at the arena."""
        if not self.filmed_from and not self.limited:
            return ""
        where = f", filmed {self.filmed_from}" if self.filmed_from else ""
        hidden = f"; limited view of {', '.join(line.item_id for line in self.limited)}" if self.limited else ""
        return f"Judged from a recording{where}{hidden}."


def sheet_view(sheet: Sheet, *, competition_class: CompetitionClass | None = None) -> SheetView:
    """Return a sheet line by line; the movements come in the order of the test, collective marks after them."""
    competition_class = competition_class or sheet.entry.competition_class
    items = items_of_seat(test_of(competition_class), sheet.seat)
    ordered = [item for item in items if not item.collective] + [item for item in items if item.collective]
    lines = tuple(_line(item, sheet) for item in ordered)
    return SheetView(
        sheet_id=sheet.pk,
        version=sheet.version,
        seat=sheet.seat.seat,
        judge=sheet.seat.judge.name if sheet.seat.judge else "",
        number=sheet.entry.number,
        rider=sheet.entry.pair.rider.name,
        horse=sheet.entry.pair.horse.name,
        lines=lines,
        overall_remarks=sheet.overall_remarks,
        errors=sheet.entry.errors,
        deductions=tuple(sheet.entry.deductions),
        given_result=sheet.given_result,
        typed_total=sheet.typed_total,
        summary=summary_of(sheet, competition_class=competition_class),
        signed=sheet.signed,
        changed_at=sheet.changed_at,
        lost=_most_lost(lines),
        overall_time=sheet.overall_time,
        filmed_from=_filmed_from(sheet, competition_class),
    )


def sheets_of_entry(entry: Entry) -> list[SheetView]:
    """Return every sheet of an entry in the order of the panel."""
    competition_class = entry.competition_class
    sheets = entry.sheets.select_related(
        "seat__judge", "entry__pair__rider", "entry__pair__horse", "entry__competition_class__test"
    ).order_by("seat__order", "pk")
    return [sheet_view(sheet, competition_class=competition_class) for sheet in sheets]


def _line(item: scoring.Item, sheet: Sheet) -> SheetLine:
    tenths = sheet.marks.get(item.id)
    points = lost = None
    if tenths is not None:
        points = format_exact(item.coefficient * Fraction(tenths, 10))
        lost = format_exact(item.coefficient * Fraction(item.scale.maximum - tenths, 10))
    return SheetLine(
        item_id=item.id,
        at=item.at,
        text=item.text,
        directive=item.directive,
        family=item.family,
        coefficient=format_exact(item.coefficient),
        collective=item.collective,
        part=item.part,
        mark=None if tenths is None else mark_text(tenths),
        points=points,
        lost=lost,
        remark=sheet.remarks.get(item.id, ""),
        substitute=item.id in sheet.substitutes,
        time=sheet.times.get(item.id),
        remark_time=sheet.remark_times.get(item.id),
        limited=item.id in sheet.limited,
    )


def _filmed_from(sheet: Sheet, competition_class: CompetitionClass) -> str:
    if not competition_class.from_recordings:
        return ""
    recording = judged_recording(sheet.entry)
    return recording.camera if recording else ""


def _most_lost(lines: tuple[SheetLine, ...], *, number: int = 5) -> tuple[SheetLine, ...]:
    marked = [line for line in lines if line.lost is not None and line.lost != "0"]
    return tuple(sorted(marked, key=lambda line: -Fraction(line.lost or "0"))[:number])
