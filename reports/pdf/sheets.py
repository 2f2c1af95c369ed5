"""A judge's sheet of one ride, made to be kept: every mark with its words, and where most was lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import groupby

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from reports.pdf.bars import Bars
from reports.pdf.heads import ClassHead, dotted
from reports.pdf.ink import BODY, EARTH, NOTE, RULE, RUNNING, SMALL, SOFT, moment
from reports.pdf.lists import DASH, EMPTY, TIMES, Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Aside, Frames, Masthead, build_closest, first_page, next_part
from reports.pdf.text import BOLD, OBLIQUE, SANS, face_for, one_line, paragraph, shorten

_TALL_WORDS = 700
_CLOSEST = 1.4
_SHARES = (0.46, 0.4, 0.52, 0.58)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemLine:
    """A movement or collective mark. ``mark``, ``points`` and ``lost`` are text, None without a mark."""

    item: str
    at: str = ""
    words: str
    coefficient: str = "1"
    collective: bool = False
    part: str = "technical"
    mark: str | None = None
    points: str | None = None
    lost: str | None = None
    remark: str = ""
    substitute: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PractiseLine:
    """A judge's remark on an item that cost much, as written: what to school next, in the judge's words."""

    seat: str
    item: str
    at: str
    words: str
    mark: str | None
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLine:
    """What one seat of the panel gave, as published text."""

    seat: str
    judge: str
    points: str | None = None
    percentage: str | None = None
    place: int | None = None
    printed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetData:
    """One seat's sheet. ``lost`` are the lines that cost most, the costliest first; ``practise`` what was said of them.

    ``off`` says in sentences what came off and where; ``reduced`` that some of it came off this sheet's points;
    ``recorded`` from where a recording was filmed that was judged, and of which items the view was limited.
    """

    seat: str
    judge: str
    lines: tuple[ItemLine, ...]
    lost: tuple[ItemLine, ...]
    practise: tuple[PractiseLine, ...] = ()
    overall_remarks: str
    points: str | None
    maximum: str | None
    percentage: str | None
    complete: bool
    signed: bool
    changed_at: datetime | None
    off: tuple[str, ...] = ()
    reduced: bool = False
    recorded: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetsData:
    """One or all sheets of a ride; ``result`` is the entry's line in the results as a sentence.

    ``panel`` are all seats, also those whose sheet is not printed; ``working`` the lines that lead from the sheets to
    the place; ``practise`` what all printed sheets say together, where there are several.
    """

    head: ClassHead
    number: str
    rider: str
    horse: str
    result: str
    state: str
    sheets: tuple[SheetData, ...]
    panel: tuple[PanelLine, ...] = ()
    working: tuple[str, ...] = ()
    practise: tuple[PractiseLine, ...] = ()


def build(data: SheetsData) -> bytes:
    """Print every sheet of the data, each starting on a page of its own."""
    frames = Frames(
        title=f"{'Sheets' if len(data.sheets) > 1 else 'Sheet'}: {data.rider} with {data.horse}, {data.head.foot}",
        author=data.head.competition,
        foot=f"{data.head.foot} · no. {data.number}",
        stamp=data.head.stamp(f"{data.state.capitalize()} results"),
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: SheetsData, frames: Frames, pad: float) -> list[Flowable]:
    story: list[Flowable] = []
    for sheet in data.sheets:
        story += [*(next_part() if story else []), *_sheet(sheet, data, frames.width, pad - 0.7)]
    if not data.sheets:
        return [*first_page(""), _masthead(None, data, frames.width), paragraph("No sheet yet.", style=RUNNING)]
    return [*story, *_ride(data, frames.width)]


def _masthead(sheet: SheetData | None, data: SheetsData, width: float) -> Masthead:
    head = data.head
    facts = [
        data.horse,
        dotted((f"No. {data.number}", f"Class {head.number}", head.test, head.division)),
        head.where,
    ]
    if sheet is None:
        eyebrow = "From the sheets to the place" if data.sheets else "Sheet"
        return Masthead(dotted((head.competition, eyebrow)), data.rider, facts, width)
    judge = f"Judge at {sheet.seat}: {sheet.judge}" if sheet.judge else f"Judge at {sheet.seat}"
    of = f"{sheet.points} of {sheet.maximum} points" if sheet.points and sheet.maximum else ""
    shown = f"{sheet.percentage} %" if sheet.percentage else DASH
    caption = of if sheet.complete else f"{of}\nnot complete" if of else "not complete"
    return Masthead(
        dotted((head.competition, "Sheet")), data.rider, facts, width, judge, Aside(figure=shown, caption=caption)
    )


def _sheet(sheet: SheetData, data: SheetsData, width: float, pad: float) -> list[Flowable]:
    name = f"{data.rider} with {data.horse} · {data.head.name} · judge at {sheet.seat}"
    story: list[Flowable] = [*first_page(name), _masthead(sheet, data, width), Spacer(0, 7)]
    if sheet.lines:
        story += [_items(sheet, width, pad), Spacer(0, 8)]
    story += _words(sheet)
    if sheet.lost:
        story.append(KeepTogether([Spacer(0, 6), *_lost(sheet, width)]))
    story += _practise(sheet.practise)
    return [*story, KeepTogether([Spacer(0, 8), *_closing(sheet, data), _Signature(sheet, width, pad)])]


def _items(sheet: SheetData, width: float, pad: float) -> RowList:
    """Return the marks as a list; the words share their room so that the list becomes as short as it can."""
    if not any(line.remark for line in sheet.lines):
        return _list(sheet, _columns(width, share=None), width, pad)
    lists = [_list(sheet, _columns(width, share=share), width, pad) for share in _SHARES]
    return min(lists, key=lambda made: made.height)


def _list(sheet: SheetData, columns: Sequence[Column], width: float, pad: float) -> RowList:
    rows: list[Row] = []
    parts = len({line.part for line in sheet.lines}) > 1
    for (collective, part), lines in groupby(sheet.lines, key=lambda line: (line.collective, line.part)):
        title = _group(collective=collective, part=part if parts else "")
        if title and (rows or parts or collective):
            rows.append(heading(title, width=width - 6))
        rows += [_item(line, columns, pad) for line in lines]
    rows.append(_sum(sheet, columns))
    return RowList(columns, rows)


def _group(*, collective: bool, part: str) -> str:
    if collective:
        return f"Collective marks, {part} part" if part else "Collective marks"
    return f"{part.capitalize()} part" if part else "Movements"


def _columns(width: float, *, share: float | None) -> list[Column]:
    """Return the columns; of the room for words the movement takes ``share``, the remark the rest if there are any."""
    figures = 38 + 26 + 42
    rest = width - 26 - 54 - figures
    text_width = rest if share is None else rest * share
    columns = [
        Column(title="", width=26, align="right", gap=8),
        Column(title="At", width=54),
        Column(title="Movement", width=text_width),
        Column(title="Mark", width=38, align="decimal", decimals=1, gap=9),
        Column(title="Coef.", width=26, align="right"),
        Column(title="Points", width=42, align="decimal", decimals=1, gap=10),
    ]
    return [*columns, Column(title="Remark", width=rest - text_width)] if share is not None else columns


def _item(line: ItemLine, columns: Sequence[Column], pad: float) -> Row:
    soft, small = Ink(SANS, SMALL, SOFT), Ink(SANS, SMALL + 0.5)
    mark: Cell = figure(line.mark, ink=Ink(BOLD, BODY + 0.6)) if line.mark is not None else figure(DASH, ink=soft)
    if line.substitute:
        mark = (*mark, *figure("office", ink=Ink(OBLIQUE, SMALL - 0.6, EARTH)))
    cells = [
        figure(line.item, ink=soft),
        words(line.at, width=columns[1].room, ink=Ink(BOLD, SMALL + 0.3, SOFT)),
        words(line.words, width=columns[2].room, ink=small),
        mark,
        figure("" if line.coefficient == "1" else f"{TIMES} {line.coefficient}", ink=soft),
        figure(line.points or "", ink=Ink(SANS, BODY)),
    ]
    if len(columns) > len(cells):
        cells.append(words(line.remark, width=columns[-1].room, ink=Ink(OBLIQUE, SMALL + 0.7)))
    return Row(cells=tuple(cells), pad=pad)


def _sum(sheet: SheetData, columns: Sequence[Column]) -> Row:
    """Return the line under the marks: what came off, and what is left."""
    bold = Ink(BOLD, BODY)
    title = (*words("Points after what came off" if sheet.reduced else "Points", width=columns[2].room, ink=bold),)
    of = f"of {sheet.maximum}" if sheet.maximum else ""
    below = tuple(
        line for off in sheet.off for line in words(off, width=columns[2].room, ink=Ink(OBLIQUE, SMALL, EARTH))
    )
    cells = [
        EMPTY,
        EMPTY,
        (*title, *below),
        EMPTY,
        EMPTY,
        (*figure(sheet.points or "", ink=bold), *figure("", ink=bold)),
    ]
    if len(columns) > len(cells):
        share = f" = {sheet.percentage} %" if sheet.percentage else ""
        cells.append(words(f"{of}{share}", width=columns[-1].room, ink=bold))
    return Row(cells=tuple(cells), shaded=True, pad=4)


def _words(sheet: SheetData) -> list[Flowable]:
    if not sheet.overall_remarks:
        return []
    remarks = paragraph(sheet.overall_remarks, style=RUNNING)
    title = paragraph(("bold", "Overall remarks"), style=RUNNING)
    if len(sheet.overall_remarks) < _TALL_WORDS:
        return [KeepTogether([title, remarks])]
    return [CondPageBreak(60), title, remarks]


def _lost(sheet: SheetData, width: float) -> list[Flowable]:
    title = paragraph(("bold", "Where most marks were lost"), style=RUNNING)
    shown = [
        (dotted((line.item, line.at, line.words)), line.lost or "0", Fraction(line.lost or "0")) for line in sheet.lost
    ]
    note = paragraph("Points short of the most that the movement could earn, times its coefficient.", style=NOTE)
    return [title, Spacer(0, 3), Bars(shown, width), note]


def _practise(lines: Sequence[PractiseLine], *, seats: bool = False) -> list[Flowable]:
    """Return the judges' own words on what cost most, or nothing where they wrote none."""
    if not lines:
        return []
    told = [paragraph(*_practise_words(line, seats=seats), style=RUNNING) for line in lines]
    note = paragraph(
        "The judge's own words about this one ride, beginning where most was lost. What is right for this horse and "
        "rider is decided by the judge, the rules in force and a qualified trainer, the welfare of the horse first.",
        style=NOTE,
    )
    title = paragraph(("bold", "What to practise next"), style=RUNNING)
    return [KeepTogether([Spacer(0, 6), title, told[0]]), *told[1:], note]


def _practise_words(line: PractiseLine, *, seats: bool) -> tuple[str | tuple[str, str], ...]:
    where = dotted((line.item, line.at))
    mark = f" {line.mark}:" if line.mark is not None else ":"
    seat = (f"(judge at {line.seat})",) if seats else ()
    return ("bold", where), f"{line.words}{mark}", ("italic", line.remark), *seat


def _closing(sheet: SheetData, data: SheetsData) -> list[Flowable]:
    lines: list[Flowable] = []
    if data.result:
        lines.append(paragraph(("bold", "Result:"), data.result, style=RUNNING))
    if any(line.substitute for line in sheet.lines):
        note = "office: the judge could not give this mark any more; the office put in the mean of the other marks."
        lines.append(paragraph(note, style=NOTE))
    if sheet.recorded:
        lines.append(paragraph(sheet.recorded, style=NOTE))
    signed = "Signed by the judge" if sheet.signed else "Not signed"
    when = f", last written {moment(sheet.changed_at, zone=data.head.zone)}" if sheet.changed_at else ""
    return [*lines, paragraph(f"{signed}{when}.", style=NOTE)]


class _Signature(Flowable):
    """A line to sign on, with the judge's name under it, and as much room above it as the page's setting has."""

    def __init__(self, sheet: SheetData, width: float, pad: float) -> None:
        super().__init__()
        self.height = 20 + 12 * (pad - _CLOSEST)
        self.words = f"Signature of {sheet.judge or f'the judge at {sheet.seat}'}"
        self.width = width

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas, half = self.canv, self.width * 0.62
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        canvas.line(0, 13, half, 13)
        canvas.line(half + 18, 13, self.width, 13)
        canvas.setFillColor(SOFT)
        face = face_for(one_line(self.words), face=SANS)
        canvas.setFont(face, SMALL)
        canvas.drawString(0, 3, shorten(self.words, width=half, face=face, size=SMALL))
        canvas.setFont(SANS, SMALL)
        canvas.drawString(half + 18, 3, "Place and date")


def _ride(data: SheetsData, width: float) -> list[Flowable]:
    """Return what leads from the sheets to the place, after several sheets on a page apart: panel and working."""
    if not data.panel and not data.working:
        return []
    story: list[Flowable] = []
    if len(data.sheets) > 1:
        name = f"{data.rider} with {data.horse} · {data.head.name} · from the sheets to the place"
        story += [*next_part(), *first_page(name), _masthead(None, data, width), Spacer(0, 7)]
        story += [paragraph(("bold", "Result:"), data.result, style=RUNNING)] if data.result else []
        story += _practise(data.practise, seats=True)
    if data.panel:
        title = "The panel" if len(data.sheets) > 1 else "The panel's other sheets"
        shown = [line for line in data.panel if len(data.sheets) > 1 or not line.printed]
        if shown:
            story.append(KeepTogether([Spacer(0, 8), paragraph(("bold", title), style=RUNNING), _panel(shown, width)]))
    if data.working:
        title = paragraph(("bold", "How the result was worked out"), style=RUNNING)
        lines = [paragraph(f"{number}.", line, style=RUNNING) for number, line in enumerate(data.working, start=1)]
        note = paragraph("Every line can be checked with a pocket calculator.", style=NOTE)
        story += [KeepTogether([Spacer(0, 8), title, *lines[:2]]), *lines[2:], note]
    return story


def _panel(lines: Sequence[PanelLine], width: float) -> RowList:
    columns = [
        Column(title="Seat", width=40),
        Column(title="Judge", width=width - 40 - 70 - 70 - 60),
        Column(title="Points", width=70, align="decimal", decimals=1, gap=12),
        Column(title="%", width=70, align="decimal", decimals=3, gap=10),
        Column(title="Place", width=60, align="right"),
    ]
    rows = [
        Row(
            cells=(
                figure(line.seat, ink=Ink(BOLD, BODY)),
                words(line.judge, width=columns[1].room),
                figure(line.points or DASH),
                figure(line.percentage or DASH),
                figure(str(line.place) if line.place is not None else DASH),
            ),
            pad=2.2,
        )
        for line in lines
    ]
    return RowList(columns, rows)
