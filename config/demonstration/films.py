"""The films of the demonstration: one invented animation for every ride of a class that is judged from recordings."""

from __future__ import annotations

from pathlib import Path

from competitions.models import Competition, CompetitionClass, Entry, Sheet, SheetRevision
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.recordings import kept_recording
from competitions.services.recordings import LARGEST_PIECE, Camera, add_piece, finish_upload, start_upload
from competitions.services.sheets import SheetChanges, save_sheet
from riders.models import User

_LENGTH = 30_000  # milliseconds of the film
_BEFORE_A_REMARK = 700
_CAMERAS = (Camera(letter="C", height=250), Camera(letter="B", height=180), Camera(place="in the stand, left of C"))


def send_films(competition: Competition, film: Path, *, by: User) -> int:
    """Send the film for every ride that has none; return how many."""
    sent = 0
    content = film.read_bytes()
    for entry in _rides(competition):
        if kept_recording(entry) is None:
            camera = _CAMERAS[sent % len(_CAMERAS)]
            name = f"ride-{entry.number}.webm"
            begun = start_upload(entry, name=name, length=len(content), modified="", camera=camera, by=by)
            for begin in range(0, len(content), LARGEST_PIECE):
                add_piece(begun, begin=begin, piece=content[begin : begin + LARGEST_PIECE])
            finish_upload(begun, by=by)
            sent += 1
    return sent


def stamp_sheets(competition: Competition, *, by: User) -> int:
    """Spread the movements of each marked sheet over the film, one of them with limited view; return how many."""
    stamped = 0
    sheets = Sheet.objects.filter(
        entry__competition_class__competition=competition, entry__competition_class__from_recordings=True
    )
    for sheet in sheets.select_related("entry__competition_class__test", "seat").order_by("pk"):
        cls = sheet.entry.competition_class
        if not sheet.times and sheet.marks and cls.open_for_changes:
            save_sheet(
                entry=sheet.entry,
                seat=sheet.seat,
                expected_version=sheet.version,
                changes=_moments(sheet, cls),
                by=by,
                source=SheetRevision.Source.IMPORT,
                reason="moments of the recording",
            )
            stamped += 1
    return stamped


def _moments(sheet: Sheet, cls: CompetitionClass) -> SheetChanges:
    movements = [item.id for item in items_of_seat(test_of(cls), sheet.seat) if not item.collective]
    step = _LENGTH // (len(movements) + 1)
    times = {item: (index + 1) * step for index, item in enumerate(movements)}
    return SheetChanges(
        times=times,
        remark_times={item: times[item] + _BEFORE_A_REMARK for item in movements if item in sheet.remarks},
        overall_time=_LENGTH - 1 if sheet.overall_remarks else None,
        limited=[movements[len(movements) // 2]],
    )


def _rides(competition: Competition) -> list[Entry]:
    entries = Entry.objects.filter(competition_class__competition=competition, competition_class__from_recordings=True)
    riding = entries.exclude(status__in=[Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW])
    return list(riding.select_related("competition_class", "pair__rider").order_by("competition_class", "order", "pk"))
