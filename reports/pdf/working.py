"""The working of a class: the lines that lead each entry from its sheets to its place, for whoever wants to check."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable, KeepTogether, Spacer

from reports.pdf.heads import dotted
from reports.pdf.ink import BODY, NOTE, REASON, RUNNING, SMALL, SOFT
from reports.pdf.lists import Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Frames, build_closest, first_page
from reports.pdf.results import ResultLine, ResultsData
from reports.pdf.text import BOLD, SANS, paragraph

_NAMES = 150.0


def build(data: ResultsData) -> bytes:
    """Print the working of every entry, in the order of the places, on A4."""
    frames = Frames(
        title=f"Working of the results: {data.head.foot}",
        author=data.head.competition,
        foot=data.head.foot,
        stamp=data.head.stamp(data.tag),
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: ResultsData, frames: Frames, pad: float) -> list[Flowable]:
    kind, tag = "Working of the results", f"{data.tag} · {data.when}"
    story: list[Flowable] = [
        *first_page(f"{kind} · {data.head.foot} · {data.tag}"),
        data.head.masthead(kind=kind, width=frames.width, tag=tag, caption="Board of the class"),
        Spacer(0, 8),
    ]
    if data.problem:
        story += [paragraph(("bold", "These results are not complete."), data.problem, style=RUNNING), Spacer(0, 6)]
    return [*story, _list(data, frames.width, pad), Spacer(0, 10), KeepTogether(_closing(data))]


def _list(data: ResultsData, width: float, pad: float) -> RowList:
    columns = [
        Column(title="Place", width=34, align="centre"),
        Column(title="No.", width=34, align="right", gap=9),
        Column(title="Rider and horse", width=_NAMES, gap=10),
        Column(title="From the sheets to the place", width=width - 68 - _NAMES),
    ]
    rows = [_row(line, columns, pad) for line in data.lines]
    return RowList(columns, rows or [heading("No results yet", width=width - 6)])


def _row(line: ResultLine, columns: Sequence[Column], pad: float) -> Row:
    room = columns[2].room
    place = "" if line.placing is None else f"{line.placing}=" if line.shared else str(line.placing)
    told = line.status if line.status != "completed" else "hors concours" if line.hors_concours else ""
    who: Cell = (
        *words(line.rider, width=room, ink=Ink(BOLD, BODY)),
        *words(line.horse, width=room, ink=Ink(SANS, BODY - 0.4, SOFT)),
        *words(dotted((told, line.reason)), width=room, ink=Ink(SANS, SMALL, SOFT)),
    )
    lines = tuple(
        part for sentence in line.working for part in words(sentence, width=columns[3].room, ink=Ink(SANS, BODY - 0.4))
    )
    return Row(
        cells=(figure(place, ink=Ink(BOLD, BODY + 1.4)), figure(line.number, ink=Ink(SANS, BODY, SOFT)), who, lines),
        pad=pad,
        shaded=line.placing == 1,
    )


def _closing(data: ResultsData) -> list[Flowable]:
    note = "Every line can be checked with a pocket calculator. The marks stand on the sheets, which are private."
    rule = [paragraph(("bold", data.rules_title), style=RUNNING)] if data.rules_title else []
    return [*rule, *([paragraph(data.rule, style=REASON)] if data.rule else []), paragraph(note, style=NOTE)]
