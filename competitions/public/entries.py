"""One entry: how its result came about (public), and its sheets (for its rider, the judge of the seat, the office)."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from competitions import policy
from competitions.models import Entry, Sheet
from competitions.public.access import entry_or_404
from competitions.selectors.board import Board, BoardRow, SeatCell, SeatColumn, board_for
from competitions.selectors.captions import RemarkMoment, captions_name, captions_of, remark_moments
from competitions.selectors.recordings import kept_recording
from competitions.selectors.remarks import EarlierSheet, coming_back, costliest, seen_before, to_practise
from competitions.selectors.sheets import SheetLine, SheetView, sheet_view

_SHEETS_LOOKED_BACK_AT = 12
_COSTLIEST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class ItemLine:
    """One item of the test beside what each seat gave it; None where a seat does not mark it."""

    item: SheetLine
    cells: tuple[tuple[str, SheetLine | None], ...]


@dataclass(frozen=True, slots=True)
class Captioned:
    """The remarks of one sheet by their moments in the recording; ``loose`` of them have none, ``timed`` have one."""

    seat: str
    judge: str
    remarks: tuple[RemarkMoment, ...]
    loose: int
    timed: int


@require_safe
def result_page(request: HttpRequest, slug: str, class_number: str, entry_number: str) -> HttpResponse:
    entry = entry_or_404(request.user, slug, class_number, entry_number)
    competition_class = entry.competition_class
    works_here = policy.can(request.user, "run", competition_class)
    board = board_for(competition_class, everyone=works_here)
    row = next((found for found in board.rows if found.entry_id == entry.pk), None)
    if row is None and entry.hors_concours and not works_here and entry.status != Entry.Status.ENTERED:
        raise Http404
    return render(
        request,
        "competitions/entry_result.html",
        {
            "entry": entry,
            "cls": competition_class,
            "competition": competition_class.competition,
            "board": board,
            "row": row,
            "seats": _seat_results(board, row),
            "sheets_visible": policy.can(request.user, "view-sheets", entry),
            "recording_visible": competition_class.from_recordings
            and policy.can(request.user, "view-recording", entry),
        },
    )


@never_cache
@require_safe
def sheets_page(request: HttpRequest, slug: str, class_number: str, entry_number: str) -> HttpResponse:
    entry = entry_or_404(request.user, slug, class_number, entry_number)
    sheets = policy.visible(request.user, Sheet.objects.filter(entry=entry)).select_related(
        "seat__judge", "entry__pair__rider", "entry__pair__horse"
    )
    views = [
        sheet_view(sheet, competition_class=entry.competition_class) for sheet in sheets.order_by("seat__order", "pk")
    ]
    if not views:
        raise Http404
    earlier = _earlier_sheets(request, entry)
    return render(
        request,
        "competitions/entry_sheets.html",
        {
            "entry": entry,
            "cls": entry.competition_class,
            "competition": entry.competition_class.competition,
            "views": views,
            "captioned": _captioned_sheets(views),
            **_film(request, entry),
            "works_here": policy.can(request.user, "run", entry),
            "all_visible": len(views) == entry.sheets.count(),
            "lines": _side_by_side(views),
            "costliest": costliest(views, number=_COSTLIEST_SHOWN),
            "practise": to_practise(views),
            "overall": [view for view in views if view.overall_remarks],
            "coming_back": coming_back(views),
            "seen_before": seen_before(views, earlier),
        },
    )


@never_cache
@require_safe
def captions_file(request: HttpRequest, slug: str, class_number: str, entry_number: str, seat: str) -> HttpResponse:
    """Answer with the remarks of one sheet as WebVTT, as private as the sheet; ``?copy=1`` makes it a file to keep."""
    entry = entry_or_404(request.user, slug, class_number, entry_number)
    sheets = Sheet.objects.filter(entry=entry, seat__seat=seat).select_related(
        "seat__judge", "entry__pair__rider", "entry__pair__horse", "entry__competition_class__competition"
    )
    sheet = get_object_or_404(policy.visible(request.user, sheets))
    as_copy = request.GET.get("copy") == "1"
    headers = {"Content-Disposition": content_disposition_header(as_copy, captions_name(sheet)) or "inline"}
    return HttpResponse(captions_of(sheet), content_type="text/vtt; charset=utf-8", headers=headers)


def _seat_results(board: Board, row: BoardRow | None) -> list[tuple[SeatColumn, SeatCell | None]]:
    return [(column, row.seats.get(column.seat)) for column in board.seats] if row else []


def _film(request: HttpRequest, entry: Entry) -> dict[str, str]:
    """Return where the recording of the ride is, for those who may see it."""
    recording = kept_recording(entry) if policy.can(request.user, "view-recording", entry) else None
    if recording is None:
        return {"film": "", "film_link": ""}
    film = "" if recording.link else reverse("api-recording-film", args=[entry.pk])
    return {"film": film, "film_link": recording.link}


def _captioned_sheets(views: list[SheetView]) -> list[Captioned]:
    """Return the sheets with remarks, where any remark at all has a moment of a recording."""
    found = [_captioned(view) for view in views]
    return [sheet for sheet in found if sheet.remarks] if any(sheet.timed for sheet in found) else []


def _captioned(view: SheetView) -> Captioned:
    remarks = remark_moments(view)
    loose = sum(remark.moment is None for remark in remarks)
    return Captioned(view.seat, view.judge, remarks, loose, timed=len(remarks) - loose)


def _side_by_side(views: list[SheetView]) -> list[ItemLine]:
    """Put the sheets beside each other, in the order of the test: movements first, then collective marks."""
    by_seat = [(view.seat, {line.item_id: line for line in view.lines}) for view in views]
    order: dict[str, SheetLine] = {}
    for view in views:
        for line in view.lines:
            order.setdefault(line.item_id, line)
    items = sorted(order.values(), key=lambda line: line.collective)
    return [ItemLine(item, tuple((seat, lines.get(item.item_id)) for seat, lines in by_seat)) for item in items]


def _earlier_sheets(request: HttpRequest, entry: Entry) -> list[EarlierSheet]:
    """Return the pair's latest sheets from classes before this one, as far as this person may see them."""
    earlier = (
        policy.visible(request.user, Sheet.objects.filter(entry__pair=entry.pair))
        .filter(entry__competition_class__date__lt=entry.competition_class.date)
        .select_related("entry__competition_class__competition", "seat")
        .order_by("-entry__competition_class__date", "-pk")[:_SHEETS_LOOKED_BACK_AT]
    )
    return [
        EarlierSheet(
            when=sheet.entry.competition_class.date,
            where=sheet.entry.competition_class.competition.title,
            seat=sheet.seat.seat,
            remarks=tuple(sheet.remarks.values()),
        )
        for sheet in earlier
    ]
