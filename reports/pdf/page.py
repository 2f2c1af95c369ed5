"""The page around a document: size, running head, foot with page x of y, and the masthead of the first page."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, NextPageTemplate, PageBreak, PageTemplate

from reports.pdf.code import draw_code
from reports.pdf.ink import EARTH, FOOT, HEAD, INK, LABEL, MARGIN, RULE, SMALL, SOFT
from reports.pdf.text import BOLD, SANS, SERIF_BOLD, clean, face_for, one_line, register_fonts, shorten, width_of, wrap

_TITLE_SIZES = ((21.0, 1), (16.5, 2), (12.0, 99))
_CODE_SIDE = 68.0
_PADS = (3.6, 2.8, 2.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """What stands around every page: the document's title, and the two halves of the foot."""

    title: str
    author: str
    foot: str
    stamp: str
    wide: bool = False

    @property
    def size(self) -> tuple[float, float]:
        across, down = landscape(A4) if self.wide else A4
        return float(across), float(down)

    @property
    def width(self) -> float:
        return float(self.size[0] - 2 * MARGIN)

    @property
    def room(self) -> float:
        """Height that content may take on a page."""
        return float(self.size[1] - HEAD - FOOT)


class RunningHead(Flowable):
    """Nothing on this page; on the pages after it, this line stands at the top."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words = words

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        self.canv.running_head = self.words


class _CountedCanvas(Canvas):
    """Keeps its pages until the last, so that each can say of how many it is."""

    def __init__(self, *arguments: Any, frames: Frames, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.frames = frames
        self.kept: list[dict[str, Any]] = []
        self.running_head = ""

    def showPage(self) -> None:  # noqa: N802 - ReportLab's own name
        self.kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, state in enumerate(self.kept, start=1):
            self.__dict__.update(state)
            self._draw_foot(number, len(self.kept))
            super().showPage()
        super().save()

    def _draw_foot(self, number: int, count: int) -> None:
        left, right, base = MARGIN, self.frames.size[0] - MARGIN, FOOT - 16
        self.setStrokeColor(RULE)
        self.setLineWidth(0.5)
        self.line(left, base + 11, right, base + 11)
        page = f"Page {number} of {count}"
        room = right - left - width_of(page, face=SANS, size=SMALL) - 12
        self.setFillColor(SOFT)
        for line, words in enumerate((self.frames.foot, self.frames.stamp)):
            face = face_for(one_line(words), face=SANS)
            self.setFont(face, SMALL)
            self.drawString(left, base - line * 9.4, shorten(words, width=room, face=face, size=SMALL))
        self.setFont(SANS, SMALL)
        self.drawRightString(right, base, page)


def _draw_running_head(canvas: _CountedCanvas, document: BaseDocTemplate) -> None:
    left, right = MARGIN, document.pagesize[0] - MARGIN
    base = document.pagesize[1] - HEAD + 9
    face = face_for(one_line(canvas.running_head), face=BOLD)
    canvas.setFillColor(SOFT)
    canvas.setFont(face, SMALL)
    canvas.drawString(left, base, shorten(canvas.running_head, width=right - left, face=face, size=SMALL))


def first_page(head: str) -> list[Flowable]:
    """Start the document, or a further part of it, on a page with a masthead; its later pages carry ``head``."""
    return [RunningHead(head), NextPageTemplate("later")]


def next_part() -> list[Flowable]:
    return [NextPageTemplate("first"), PageBreak()]


def build_pages(story: Sequence[Flowable], *, frames: Frames) -> bytes:
    """Lay the story out on pages; the same story gives the same bytes."""
    return _lay_out(story, frames)[1]


def build_closest(tell: Callable[[float], Sequence[Flowable]], *, frames: Frames) -> bytes:
    """Lay out the airiest of three settings that needs no more pages than the closest one.

    ``tell`` makes the story for a padding of rows in points; so a few lines never go on a page of their own needlessly.
    """
    settings = [_lay_out(tell(pad), frames) for pad in _PADS]
    fewest = min(count for count, _ in settings)
    return next(pages for count, pages in settings if count == fewest)


def _lay_out(story: Sequence[Flowable], frames: Frames) -> tuple[int, bytes]:
    register_fonts()
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=frames.size, title=clean(frames.title), author=clean(frames.author), lang="en-GB", invariant=1,
        creator="Markbook", producer="Markbook", subject="",
    )  # fmt: skip
    box = (MARGIN, FOOT, frames.width, frames.room)
    bare = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
    document.addPageTemplates(
        [
            PageTemplate("first", [Frame(*box, id="first", **bare)]),
            PageTemplate("later", [Frame(*box, id="later", **bare)], onPage=_draw_running_head),
        ]
    )

    def make_canvas(*arguments: Any, **options: Any) -> _CountedCanvas:
        return _CountedCanvas(*arguments, frames=frames, **options)

    document.build(list(story), canvasmaker=make_canvas)
    return document.page, out.getvalue()


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """What stands at the right of a masthead: a code that leads to an address, or one large figure with its caption."""

    address: str = ""
    figure: str = ""
    caption: str = ""


@dataclass(eq=False)
class Masthead(Flowable):
    """Whose list this is, in three sizes: the competition, the title, the facts."""

    eyebrow: str
    title: str
    facts: Sequence[str]
    across: float
    tag: str = ""
    aside: Aside | None = None

    def __post_init__(self) -> None:
        super().__init__()
        register_fonts()
        self.width = self.across
        self.text_width = self.width - self._aside_width()
        self.face = face_for(one_line(self.title), face=SERIF_BOLD)
        self.size, self.title_lines = self._fitted_title()
        self.fact_face = face_for(one_line(" ".join(self.facts)), face=SANS)
        self.fact_lines = [
            line
            for fact in self.facts
            if fact
            for line in wrap(fact, width=self.text_width, face=self.fact_face, size=9)
        ]
        self.eyebrow_face = face_for(one_line(self.eyebrow), face=BOLD)
        self.eyebrow_lines = wrap(self.eyebrow, width=self.text_width, face=self.eyebrow_face, size=8.4)
        words = len(self.eyebrow_lines) * 11 + len(self.title_lines) * self.size * 1.2 + len(self.fact_lines) * 12.4
        self.height = max(words + (19 if self.tag else 0), self._aside_height()) + 14

    def _aside_width(self) -> float:
        if self.aside is None:
            return 0
        return 150.0 if self.aside.figure else _CODE_SIDE + 16

    def _aside_height(self) -> float:
        if self.aside is None:
            return 0
        return 62.0 if self.aside.figure else _CODE_SIDE + 14

    def _fitted_title(self) -> tuple[float, list[str]]:
        for size, most in _TITLE_SIZES:
            lines = wrap(self.title, width=self.text_width, face=self.face, size=size)
            if len(lines) <= most:
                break
        return size, lines

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        y = self.height
        y = self._lines(self.eyebrow_lines, y, self.eyebrow_face, 8.4, 11, EARTH)
        y = self._lines(self.title_lines, y - 1, self.face, self.size, self.size * 1.2, INK)
        y = self._lines(self.fact_lines, y - 2, self.fact_face, 9, 12.4, SOFT)
        if self.tag:
            self._draw_tag(y - 4)
        self._draw_aside()
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1.4)
        self.canv.line(0, 3, self.width, 3)

    def _lines(self, lines: Sequence[str], y: float, face: str, size: float, leading: float, colour: Any) -> float:
        self.canv.setFillColor(colour)
        self.canv.setFont(face, size)
        for line in lines:
            self.canv.drawString(0, y - size * 0.92, line)
            y -= leading
        return y

    def _draw_tag(self, top: float) -> None:
        words = one_line(self.tag)
        wide = width_of(words, face=BOLD, size=SMALL + 0.4)
        self.canv.setFillColor(INK)
        self.canv.roundRect(0, top - 12.4, wide + 12, 12.4, 2, stroke=0, fill=1)
        self.canv.setFillColorRGB(1, 1, 1)
        self.canv.setFont(face_for(words, face=BOLD), SMALL + 0.4)
        self.canv.drawString(6, top - 9, words)

    def _draw_aside(self) -> None:
        if self.aside is None:
            return
        if self.aside.figure:
            self.canv.setFillColor(INK)
            self.canv.setFont(SERIF_BOLD, 30)
            self.canv.drawRightString(self.width, self.height - 29, self.aside.figure)
            self._caption(self.height - 42, 8.4)
            return
        draw_code(
            self.canv,
            self.aside.address,
            left=self.width - _CODE_SIDE,
            bottom=self.height - _CODE_SIDE,
            side=_CODE_SIDE,
        )
        self._caption(self.height - _CODE_SIDE - 8, LABEL)

    def _caption(self, y: float, size: float) -> None:
        assert self.aside is not None  # noqa: S101 - the caller looked
        self.canv.setFillColor(SOFT)
        self.canv.setFont(SANS, size)
        for line in self.aside.caption.split("\n"):
            self.canv.drawRightString(self.width, y, line)
            y -= size * 1.3
