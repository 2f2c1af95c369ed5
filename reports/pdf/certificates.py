"""Certificates of a season, one page a unit: who, what was achieved, and a line to sign on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.lib.colors import Color
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from reports.pdf.heads import dotted
from reports.pdf.ink import DUNE, EARTH, INK, RULE, SOFT, day
from reports.pdf.text import BOLD, SANS, SERIF, SERIF_BOLD, clean, face_for, one_line, register_fonts, width_of, wrap

_WIDTH, _HEIGHT = (float(side) for side in A4)
_ROOM = _WIDTH - 2 * 34 * mm
_NAME_SIZES = ((34.0, 1), (27.0, 2), (20.0, 3), (14.0, 6))
_HORSE_SIZES = ((24.0, 1), (18.0, 2), (13.0, 4))
_ACHIEVED_SIZES = ((25.0, 1), (19.0, 2), (13.0, 5))
_LINE_SIZES = ((19.0, 1), (15.0, 2), (11.0, 5))


@dataclass(frozen=True, slots=True)
class Certificate:
    """``achieved`` is what is certified in a few words, ``figures`` the facts beneath it."""

    name: str
    horse: str
    achieved: str
    table: str
    figures: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatesData:
    association: str
    season: str
    starts_on: date
    ends_on: date
    edition: int
    digest: str
    certificates: tuple[Certificate, ...]

    @property
    def format(self) -> str:
        return "pdf"


def build(data: CertificatesData) -> bytes:
    """Print a page for each certificate, in the order of the list; the same data gives the same bytes."""
    register_fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, pageCompression=1, lang="en-GB")
    canvas.setTitle(clean(f"Certificates: {data.season}, {data.association}"))
    canvas.setAuthor(clean(data.association))
    canvas.setCreator("Markbook")
    canvas.setProducer("Markbook")
    canvas.setSubject("")
    for certificate in data.certificates:
        _draw(canvas, certificate, data)
        canvas.showPage()
    if not data.certificates:
        _draw_frame(canvas)
        words = f"No certificate: nobody in {data.season} has achieved what was asked for."
        _centred(canvas, words, _HEIGHT / 2, face=SERIF, sizes=_LINE_SIZES, colour=SOFT)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, certificate: Certificate, data: CertificatesData) -> None:
    _draw_frame(canvas)
    y = _HEIGHT - 58 * mm
    y = _centred(canvas, data.association, y, face=BOLD, sizes=((12.5, 2), (10.0, 4)), colour=EARTH)
    y = _centred(canvas, "Certificate", y - 16, face=SERIF_BOLD, sizes=((42.0, 1),), colour=INK)
    _draw_ornament(canvas, y - 2)
    y = _centred(canvas, data.season, y - 26, face=SERIF, sizes=_LINE_SIZES, colour=SOFT)
    y = _centred(canvas, certificate.name, y - 40, face=SERIF_BOLD, sizes=_NAME_SIZES, colour=INK)
    if certificate.horse:
        y = _centred(canvas, "with", y - 6, face=SERIF, sizes=((12.0, 1),), colour=SOFT)
        y = _centred(
            canvas, certificate.horse, y - 3, face=SERIF_BOLD, sizes=((24.0, 1), (18.0, 2), (13.0, 4)), colour=INK
        )
    y = _centred(canvas, certificate.achieved, y - 34, face=SERIF_BOLD, sizes=_ACHIEVED_SIZES, colour=EARTH)
    y = _centred(canvas, certificate.table, y - 6, face=SERIF, sizes=_LINE_SIZES, colour=INK)
    for figures in certificate.figures:
        y = _centred(canvas, figures, y - 8, face=SANS, sizes=((11.0, 1), (9.0, 3)), colour=SOFT)
    _draw_signature(canvas)
    days = f"{day(data.starts_on)} to {day(data.ends_on)}"
    foot = dotted((days, f"final lists, edition {data.edition}", f"check code {data.digest[:16]}"))
    _centred(canvas, foot, 26 * mm, face=SANS, sizes=((7.2, 1), (6.0, 2)), colour=SOFT)


def _draw_frame(canvas: Canvas) -> None:
    """Draw a broad quiet border with a fine line inside it, open at the corners."""
    outer, inner, notch = 14 * mm, 17.5 * mm, 9 * mm
    canvas.setStrokeColor(DUNE)
    canvas.setLineWidth(5)
    canvas.rect(outer, outer, _WIDTH - 2 * outer, _HEIGHT - 2 * outer)
    canvas.setStrokeColor(EARTH)
    canvas.setLineWidth(0.8)
    left, right, foot, top = inner, _WIDTH - inner, inner, _HEIGHT - inner
    for x in (left, right):
        canvas.line(x, foot + notch, x, top - notch)
    for y in (foot, top):
        canvas.line(left + notch, y, right - notch, y)
    for x, across in ((left, notch), (right, -notch)):
        for y, up in ((foot, notch), (top, -notch)):
            canvas.line(x, y + up, x + across, y + up)
            canvas.line(x + across, y, x + across, y + up)


def _draw_ornament(canvas: Canvas, y: float) -> None:
    middle = _WIDTH / 2
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(1)
    canvas.line(middle - 70, y, middle - 9, y)
    canvas.line(middle + 9, y, middle + 70, y)
    path = canvas.beginPath()
    path.moveTo(middle, y + 4.5)
    for x, up in ((4.5, 0), (0, -4.5), (-4.5, 0)):
        path.lineTo(middle + x, y + up)
    path.close()
    canvas.setFillColor(EARTH)
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_signature(canvas: Canvas) -> None:
    base, left, right = 46 * mm, 34 * mm, _WIDTH - 34 * mm
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.6)
    canvas.setFillColor(SOFT)
    canvas.setFont(SANS, 8)
    for start, end, words in (
        (left, left + 62 * mm, "Place and date"),
        (right - 72 * mm, right, "For the association"),
    ):
        canvas.line(start, base, end, base)
        canvas.drawString(start, base - 11, words)


def _centred(
    canvas: Canvas, value: str, top: float, *, face: str, sizes: Sequence[tuple[float, int]], colour: Color
) -> float:
    """Write words in the middle, in the largest size in which they take few enough lines; return where they end."""
    face = face_for(one_line(value), face=face)
    lines: list[str] = []
    size = 0.0
    for size, most in sizes:
        lines = wrap(value, width=_ROOM, face=face, size=size)
        if len(lines) <= most:
            break
    canvas.setFillColor(colour)
    canvas.setFont(face, size)
    for line in lines:
        canvas.drawString((_WIDTH - width_of(line, face=face, size=size)) / 2, top - size, line)
        top -= size * 1.22
    return top
