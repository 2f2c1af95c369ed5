"""Lists of rows whose heights are known before they are drawn, so that long ones stay quick and break well.

A cell is a stack of lines already wrapped to its column. A list splits between rows, repeats its head on every page,
never leaves a heading or a single row alone, and splits inside a row only where it is taller than a third of a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from reportlab.lib.colors import Color
from reportlab.platypus import Flowable

from reports.pdf.ink import BODY, DUNE, INK, LABEL, RULE, SAND, SOFT
from reports.pdf.text import BOLD, SANS, face_for, one_line, width_of, wrap

Align = Literal["left", "right", "centre", "decimal"]

PAD = 2.6
DASH = "\N{EN DASH}"
TIMES = "\N{MULTIPLICATION SIGN}"
_TALL = 240.0
_ASCENT = 0.99


@dataclass(frozen=True, slots=True)
class Ink:
    """How a line is printed."""

    face: str = SANS
    size: float = BODY
    colour: Color = INK

    @property
    def leading(self) -> float:
        return self.size * 1.26


@dataclass(frozen=True, slots=True)
class Line:
    words: str
    ink: Ink = Ink()


Cell = tuple[Line, ...]
EMPTY: Cell = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """``decimals`` is the widest fraction expected in a column aligned on the decimal point."""

    title: str
    width: float
    align: Align = "left"
    decimals: int = 0
    gap: float = 5.0

    @property
    def room(self) -> float:
        return self.width - self.gap


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A heading row has one cell that runs over all columns."""

    cells: tuple[Cell, ...]
    heading: bool = False
    shaded: bool = False
    pad: float = PAD

    @property
    def size(self) -> float:
        """Size of the largest first line: all first lines of a row stand on its base line."""
        return max((cell[0].ink.size for cell in self.cells if cell), default=0.0)

    @property
    def height(self) -> float:
        return max((self.drop(cell) + height_of(cell) for cell in self.cells), default=0.0) + 2 * self.pad

    def drop(self, cell: Cell) -> float:
        return (self.size - cell[0].ink.size) * _ASCENT if cell else 0.0

    def cut(self, room: float) -> tuple[Row, Row] | None:
        """Return the row as a part of at most ``room`` points and the rest, or nothing where no line fits."""
        split = [_cut_cell(cell, room - 2 * self.pad - self.drop(cell)) for cell in self.cells]
        if not any(before for before, _ in split) or not any(after for _, after in split):
            return None
        first, rest = (tuple(parts) for parts in zip(*split, strict=True))
        return replace(self, cells=first), replace(self, cells=rest)


def height_of(cell: Cell) -> float:
    return sum(line.ink.leading for line in cell)


def _cut_cell(cell: Cell, room: float) -> tuple[Cell, Cell]:
    used = 0.0
    for index, line in enumerate(cell):
        used += line.ink.leading
        if used > room:
            return cell[:index], cell[index:]
    return cell, EMPTY


def words(value: object, *, width: float, ink: Ink | None = None) -> Cell:
    """Return text as a cell, wrapped to ``width``; empty text is an empty cell."""
    ink = ink or Ink()
    face = face_for(one_line(value), face=ink.face)
    ink = replace(ink, face=face)
    lines = wrap(value, width=width, face=ink.face, size=ink.size)
    return tuple(Line(line, ink) for line in lines) if any(lines) else EMPTY


def figure(value: object, *, ink: Ink | None = None) -> Cell:
    """Return a figure or a short word on one line."""
    return (Line(one_line(value), ink or Ink()),) if one_line(value) else EMPTY


def heading(title: str, *, width: float) -> Row:
    return Row(cells=(words(title, width=width, ink=Ink(BOLD, BODY - 0.4, SOFT)),), heading=True)


@dataclass(eq=False)
class RowList(Flowable):
    """Rows under the titles of their columns."""

    columns: Sequence[Column]
    rows: Sequence[Row]
    titled: bool = True
    heights: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self.heights = self.heights or [row.height for row in self.rows]
        self.titles = tuple(words(c.title, width=c.room, ink=Ink(SANS, LABEL, SOFT)) for c in self.columns)
        self.head = max((height_of(cell) for cell in self.titles), default=0) + 5.0 if self.titled else 0.0
        self.width = sum(column.width for column in self.columns)
        self.height = self.head + sum(self.heights)

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def split(self, _width: float, room: float) -> list[Flowable]:
        count, used = 0, self.head
        while count < len(self.rows) and used + self.heights[count] <= room:
            used += self.heights[count]
            count += 1
        if count < len(self.rows) and self.heights[count] > _TALL:
            cut = self.rows[count].cut(room - used)
            if cut:
                return self._parts([*self.rows[:count], cut[0]], [cut[1], *self.rows[count + 1 :]])
        if len(self.rows) - count == 1 and count > 2:
            count -= 1
        while count and self.rows[count - 1].heading:
            count -= 1
        return self._parts(self.rows[:count], self.rows[count:]) if count else []

    def _parts(self, first: Sequence[Row], rest: Sequence[Row]) -> list[Flowable]:
        return [RowList(self.columns, rows, self.titled) for rows in (first, rest)]

    def draw(self) -> None:
        top = self.height
        if self.titled:
            self._draw_titles(top)
            top -= self.head
        for row, height in zip(self.rows, self.heights, strict=True):
            self._draw_row(row, top, height)
            top -= height

    def _draw_titles(self, top: float) -> None:
        foot = top - self.head
        left = 0.0
        for column, cell in zip(self.columns, self.titles, strict=True):
            self._draw_cell(cell, column, left, foot + height_of(cell) + 3.2)
            left += column.width
        self._rule(foot, 0.8, INK)

    def _draw_row(self, row: Row, top: float, height: float) -> None:
        if row.heading or row.shaded:
            self.canv.setFillColor(DUNE if row.heading else SAND)
            self.canv.rect(0, top - height, self.width, height, stroke=0, fill=1)
        if row.heading:
            self._draw_cell(row.cells[0], Column(title="", width=self.width), 0, top - row.pad)
            return
        left = 0.0
        for column, cell in zip(self.columns, row.cells, strict=True):
            self._draw_cell(cell, column, left, top - row.pad - row.drop(cell))
            left += column.width
        self._rule(top - height, 0.35, RULE)

    def _draw_cell(self, cell: Cell, column: Column, left: float, top: float) -> None:
        for line in cell:
            baseline = top - line.ink.size * _ASCENT
            self.canv.setFont(line.ink.face, line.ink.size)
            self.canv.setFillColor(line.ink.colour)
            self.canv.drawString(left + _indent(line, column), baseline, line.words)
            top -= line.ink.leading

    def _rule(self, y: float, weight: float, colour: Color) -> None:
        self.canv.setStrokeColor(colour)
        self.canv.setLineWidth(weight)
        self.canv.line(0, y, self.width, y)


def _indent(line: Line, column: Column) -> float:
    """Return where a line starts in its column; aligned on the decimal, the point stands at one place in all rows."""
    start = column.gap / 2
    if column.align == "left":
        return start
    wide = width_of(line.words, face=line.ink.face, size=line.ink.size)
    if column.align == "centre":
        return max(start, (column.width - wide) / 2)
    right = column.width - column.gap / 2
    if column.align == "right" or not any(letter.isdigit() for letter in line.words):
        return right - wide
    whole, _, _ = line.words.partition(".")
    fraction = width_of("." + "0" * column.decimals, face=SANS, size=BODY) if column.decimals else 0
    return right - fraction - width_of(whole, face=line.ink.face, size=line.ink.size)
