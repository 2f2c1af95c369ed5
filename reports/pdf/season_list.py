"""A list of a season for the wall: standings, awards, or who has qualified."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from reports.pdf.heads import dotted
from reports.pdf.ink import BODY, EARTH, NOTE, REASON, RUNNING, SMALL, SOFT, day
from reports.pdf.lists import DASH, Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Frames, Masthead, build_closest, build_pages, first_page
from reports.pdf.season_data import ListRow, ListTable, SeasonListData, unit_title
from reports.pdf.text import BOLD, OBLIQUE, SANS, SERIF_BOLD, paragraph

_LONG = 400
_ROWS_AT_ONCE = 60
_NAME = Ink(BOLD, BODY)
_BELOW = Ink(SANS, BODY - 0.4, SOFT)
_PLACE = Ink(BOLD, BODY + 1.4)
_VALUE = Ink(BOLD, BODY + 0.6)
_WHY = Ink(OBLIQUE, SMALL + 0.2, EARTH)
_GRAND_NAME = Ink(SERIF_BOLD, BODY + 3.4)
_GRAND_BELOW = Ink(SANS, BODY + 1, SOFT)
_GRAND_PLACE = Ink(SERIF_BOLD, BODY + 5.4)
_GRAND_VALUE = Ink(BOLD, BODY + 2.4)
_ON_THE_PODIUM = 3


def build(data: SeasonListData) -> bytes:
    """Print the list on A4."""
    frames = Frames(
        title=f"{data.title}: {data.season}, {data.association}",
        author=data.association,
        foot=dotted((data.association, data.season, data.title)),
        stamp=data.stamp,
    )
    if sum(len(table.rows) for table in data.tables) > _LONG:
        return build_pages(_story(data, frames, 2.1), frames=frames)
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: SeasonListData, frames: Frames, pad: float) -> list[Flowable]:
    width = frames.width
    facts = [f"{day(data.starts_on)} to {day(data.ends_on)}", data.counted_by]
    story: list[Flowable] = [
        *first_page(dotted((data.title, data.season, data.association, data.state))),
        Masthead(data.association, f"{data.title}: {data.season}", facts, width, dotted((data.state, data.when))),
        Spacer(0, 8),
    ]
    for number, table in enumerate(data.tables):
        if number:
            story += [Spacer(0, 10), CondPageBreak(110)]
        story += _table(table, data, width, pad)
    if not any(table.rows for table in data.tables):
        story.append(paragraph(_nobody(data), style=RUNNING))
    return [*story, Spacer(0, 10), KeepTogether(_closing(data))]


def _nobody(data: SeasonListData) -> str:
    return {
        "standings": "No score counts in this season.",
        "awards": "No place and no tier was reached in this season.",
        "qualified": "Nobody has met the requirements of this season.",
    }[data.name]


def _table(table: ListTable, data: SeasonListData, width: float, pad: float) -> list[Flowable]:
    if not table.rows:
        return []
    columns = _columns(data, width)
    rows = [_row(row, data, columns, pad) for row in table.rows]
    first = [heading(f"{table.title[:1].upper()}{table.title[1:]}", width=width - 6)] if len(data.tables) > 1 else []
    # Long tables go in parts: to break one over pages, every row that is left is looked at again.
    parts: list[Flowable] = [RowList(columns, [*first, *rows[:_ROWS_AT_ONCE]])]
    parts += [
        RowList(columns, rows[start : start + _ROWS_AT_ONCE], titled=False)
        for start in range(_ROWS_AT_ONCE, len(rows), _ROWS_AT_ONCE)
    ]
    return parts


def _columns(data: SeasonListData, width: float) -> list[Column]:
    place = [Column(title="Place", width=44, align="centre")] if data.ranked else []
    tier = [Column(title="Tier", width=86)] if data.tiered else []
    tail = [
        Column(title="Value", width=74, align="decimal", decimals=_decimals(data), gap=22 if data.tiered else 5),
        *tier,
        Column(title="Counted", width=44, align="right"),
    ]
    missing = [Column(title="Requirements", width=150)] if data.name == "standings" else []
    names = width - sum(column.width for column in (*place, *tail, *missing))
    title = "Rider and horse" if data.is_of_pairs else unit_title(data)
    return [*place, Column(title=title, width=names), *tail, *missing]


def _decimals(data: SeasonListData) -> int:
    values = (row.value.partition(".")[2] for table in data.tables for row in table.rows)
    return max(map(len, values), default=0)


def _row(row: ListRow, data: SeasonListData, columns: Sequence[Column], pad: float) -> Row:
    grand = data.name == "awards" and row.placing is not None and row.placing <= _ON_THE_PODIUM
    names = columns[1 if data.ranked else 0]
    cells: list[Cell] = [figure(row.place, ink=_GRAND_PLACE if grand else _PLACE)] if data.ranked else []
    cells.append(
        (
            *words(row.name, width=names.room, ink=_GRAND_NAME if grand else _NAME),
            *words(row.horse, width=names.room, ink=_GRAND_BELOW if grand else _BELOW),
        )
    )
    cells.append(figure(row.value or DASH, ink=_GRAND_VALUE if grand else _VALUE))
    if data.tiered:
        cells.append(words(row.tier, width=86 - 5, ink=_NAME))
    cells.append(figure(row.counted, ink=_BELOW))
    if data.name == "standings":
        cells.append(_requirements(row, columns[-1].room))
    return Row(cells=tuple(cells), pad=pad + 2 if grand else pad, shaded=row.placing == 1 and data.name != "qualified")


def _requirements(row: ListRow, room: float) -> Cell:
    if row.qualified:
        return words("met", width=room, ink=_BELOW)
    return words("; ".join(row.missing) or "not met", width=room, ink=_WHY)


def _closing(data: SeasonListData) -> list[Flowable]:
    shared = any(row.shared for table in data.tables for row in table.rows)
    flowables: list[Flowable] = [
        paragraph(("bold", "How it was worked out:"), data.working, style=RUNNING),
        *(paragraph(sentence, style=NOTE) for sentence in data.rule),
    ]
    if shared:
        flowables.append(paragraph("= marks a shared place.", style=NOTE))
    issued = f"Issued by {data.association}. {data.state}, as of {data.when}."
    return [*flowables, paragraph(issued, style=REASON)]
