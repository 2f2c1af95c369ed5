"""The remarks of a sheet as captions of the ride's recording, with the moment of each as far as it is known."""

from __future__ import annotations

from dataclasses import dataclass

from competitions.models import Sheet
from competitions.selectors.recordings import time_text
from competitions.selectors.sheets import SheetView, sheet_view
from scoring.commentary.captions import Caption, captions_text

WHOLE_RIDE = "The ride as a whole"


@dataclass(frozen=True, slots=True)
class RemarkMoment:
    """A remark with its moment in milliseconds and as people write it (None and "" where it has none)."""

    about: str
    at: str
    words: str
    mark: str | None
    moment: int | None

    @property
    def time(self) -> str:
        return time_text(self.moment)


def remark_moments(view: SheetView) -> tuple[RemarkMoment, ...]:
    """Return every remark of a sheet, those with a moment first, in its order; the moment of the mark serves too."""
    found = [
        RemarkMoment(line.item_id, line.at, line.remark, line.mark, _first(line.remark_time, line.time))
        for line in view.lines
        if line.remark
    ]
    if view.overall_remarks:
        found.append(RemarkMoment(WHOLE_RIDE, "", view.overall_remarks, None, view.overall_time))
    return tuple(sorted(found, key=lambda remark: (remark.moment is None, remark.moment or 0)))


def captions_of(sheet: Sheet) -> str:
    """Return the remarks of a sheet as WebVTT."""
    captions = [Caption(remark.about, remark.words, remark.moment) for remark in remark_moments(sheet_view(sheet))]
    cls = sheet.entry.competition_class
    return captions_text(captions, title=f"Class {cls.number}, number {sheet.entry.number}, seat {sheet.seat.seat}")


def captions_name(sheet: Sheet) -> str:
    """Name the file so that those of one show stay apart."""
    cls = sheet.entry.competition_class
    return f"{cls.competition.slug}-{cls.number}-{sheet.entry.number}-{sheet.seat.seat}.vtt"


def _first(*moments: int | None) -> int | None:
    return next((moment for moment in moments if moment is not None), None)
