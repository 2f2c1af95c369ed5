"""One more score, drawn: the value after it for each percentage that it may reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree import ElementTree as ET

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing, Group, Line, PolyLine, Rect, String
from reportlab.lib.colors import HexColor

from riders.selectors.outlooks import GroupOutlook
from scoring.exact import Rounding, format_units, parse_decimal, round_ratio, round_to_units
from scoring.season import NextScore

_WIDE, _HIGH = 480, 320
_LEFT, _RIGHT, _FOOT, _HEAD = 58, 18, 56, 44
_PAPER, _INK, _SOFT, _RULE, _EARTH = (HexColor(c) for c in (0xFFFDF9, 0x1C1813, 0x574C3D, 0xD6C8AE, 0x8A5527))
_FONT = "Helvetica"
_SVG = "http://www.w3.org/2000/svg"

Point = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of an axis, from ``low`` to ``high``, with its lines ``step`` apart."""

    low: Fraction
    high: Fraction
    step: Fraction

    def lines(self) -> list[Fraction]:
        count = int((self.high - self.low) / self.step)
        return [self.low + self.step * index for index in range(count + 1)]

    def place(self, value: Fraction, *, start: int, end: int) -> float:
        """Return where a value stands on the paper, to a tenth of a point."""
        at = start + (value - self.low) * (end - start) / (self.high - self.low)
        return round_ratio(at.numerator * 10, at.denominator, rounding=Rounding.HALF_UP) / 10


def outlook_plot(group: GroupOutlook) -> bytes | None:
    """Return the plot as SVG without style attributes (our pages allow none), or None where no value can be shown."""
    across = _across(group)
    segments = [clipped for piece in group.outlook.next_score if (clipped := _clipped(piece, across)) is not None]
    if not segments:
        return None
    now = parse_decimal(group.outlook.value) if group.outlook.value is not None else None
    values = [point[1] for segment in segments for point in segment]
    up = _span([*values, *([now] if now is not None else [])])
    drawing = Drawing(_WIDE, _HIGH)
    drawing.add(Rect(0, 0, _WIDE, _HIGH, fillColor=_PAPER, strokeColor=None))
    drawing.add(_axes(across, up))
    drawing.add(_marks(group, across, up, now=now))
    for segment in segments:
        drawing.add(_line(segment, across, up))
    return _plain_svg(renderSVG.drawToString(drawing), label="Value of the season after one more score")


def _across(group: GroupOutlook) -> Span:
    """Show tens of percentages around the form and the percentage needed; 40 to 80 where nothing is known.

    Where no chance is estimated the form is not known: then around the percentages at which the value turns.
    """
    turns = [piece.first for piece in group.outlook.next_score[1:]]
    known = [parse_decimal(value) for value in (*(group.form or turns), *_some(group.outlook.at_least_each))]
    tens = [int(value / 10) for value in known] or [5, 6]
    low, high = max(min(tens) - 1, 0), min(max(tens) + 2, 10)
    return Span(Fraction(low * 10), Fraction(high * 10), Fraction(5 if high - low <= 4 else 10))


def _some(value: str | None) -> list[str]:
    return [] if value is None else [value]


def _clipped(piece: NextScore, across: Span) -> tuple[Point, Point] | None:
    first, last = parse_decimal(piece.first), parse_decimal(piece.last)
    if piece.at_first is None or piece.at_last is None or last <= across.low or first >= across.high or first == last:
        return None
    start, end = parse_decimal(piece.at_first), parse_decimal(piece.at_last)
    slope = (end - start) / (last - first)
    ends = [max(first, across.low), min(last, across.high)]
    left, right = ((x, start + slope * (x - first)) for x in ends)
    return left, right


def _span(values: Sequence[Fraction]) -> Span:
    """Choose round lines, four to eight of them, around the values."""
    low, high = min(values), max(values)
    reach = max(high - low, Fraction(1, 10))
    step = next(
        size * Fraction(10) ** power
        for power in range(-4, 8)
        for size in (Fraction(1), Fraction(2), Fraction(5))
        if size * Fraction(10) ** power * 6 >= reach
    )
    first, last = low // step - (low % step == 0), -(-high // step) + (high % step == 0)
    return Span(first * step, last * step, step)


def _axes(across: Span, up: Span) -> Group:
    axes = Group()
    for value in up.lines():
        y = up.place(value, start=_FOOT, end=_HIGH - _HEAD)
        axes.add(Line(_LEFT, y, _WIDE - _RIGHT, y, strokeColor=_RULE, strokeWidth=0.8))
        axes.add(_words(_LEFT - 9, y - 4.5, _short(value), anchor="end"))
    for value in across.lines():
        x = across.place(value, start=_LEFT, end=_WIDE - _RIGHT)
        axes.add(Line(x, _FOOT, x, _FOOT - 5, strokeColor=_SOFT, strokeWidth=1))
        axes.add(_words(x, _FOOT - 20, _short(value), anchor="middle"))
    axes.add(Line(_LEFT, _FOOT, _WIDE - _RIGHT, _FOOT, strokeColor=_INK, strokeWidth=1.2))
    axes.add(_words((_LEFT + _WIDE - _RIGHT) / 2, 16, "percentage of one more score", anchor="middle", colour=_SOFT))
    axes.add(_words(10, _HIGH - 16, "value after it", colour=_SOFT))
    return axes


def _marks(group: GroupOutlook, across: Span, up: Span, *, now: Fraction | None) -> Group:
    """Draw the value as it stands, the percentage needed, and a tick for each score of the form."""
    marks = Group()
    if now is not None:
        y = up.place(now, start=_FOOT, end=_HIGH - _HEAD)
        marks.add(Line(_LEFT, y, _WIDE - _RIGHT, y, strokeColor=_SOFT, strokeWidth=1.2, strokeDashArray=[5, 4]))
        marks.add(_words(_LEFT + 6, y + 5, f"now {group.outlook.value}", colour=_SOFT))
    for percentage in group.form:
        x = across.place(parse_decimal(percentage), start=_LEFT, end=_WIDE - _RIGHT)
        marks.add(Line(x, _FOOT, x, _FOOT + 11, strokeColor=_INK, strokeWidth=1.6))
    needed = group.outlook.at_least_each
    if needed is not None:
        x = across.place(parse_decimal(needed), start=_LEFT, end=_WIDE - _RIGHT)
        marks.add(Line(x, _FOOT, x, _HIGH - _HEAD, strokeColor=_EARTH, strokeWidth=1.2, strokeDashArray=[2, 3]))
        anchor = "end" if x > _WIDE - _RIGHT - 60 else "middle"
        marks.add(_words(x, _HIGH - _HEAD + 6, f"needed {needed} %", anchor=anchor, colour=_EARTH))
    return marks


def _line(segment: tuple[Point, Point], across: Span, up: Span) -> PolyLine:
    points = [
        position
        for x, y in segment
        for position in (
            across.place(x, start=_LEFT, end=_WIDE - _RIGHT),
            up.place(y, start=_FOOT, end=_HIGH - _HEAD),
        )
    ]
    return PolyLine(points, strokeColor=_EARTH, strokeWidth=3.2, strokeLineCap=1)


def _words(x: float, y: float, words: str, *, anchor: str = "start", colour: HexColor = _INK) -> String:
    return String(x, y, words, fontName=_FONT, fontSize=14, textAnchor=anchor, fillColor=colour)


def _short(value: Fraction) -> str:
    """Write a figure of an axis without idle noughts; its steps have at most four decimals."""
    text = format_units(round_to_units(value, decimals=4, rounding=Rounding.HALF_UP), decimals=4)
    return text.rstrip("0").rstrip(".")


def _plain_svg(drawn: str, *, label: str) -> bytes:
    """Turn style attributes into attributes of their own, and name the picture for those who do not see it."""
    ET.register_namespace("", _SVG)
    root = ET.fromstring(drawn.encode())  # noqa: S314 - drawn a moment ago by ourselves
    for element in root.iter():
        for declaration in element.attrib.pop("style", "").split(";"):
            name, _, value = declaration.partition(":")
            if value.strip():
                element.set(name.strip(), value.strip())
        if element.get("font-family"):
            element.set("font-family", "system-ui, 'Segoe UI', 'Noto Sans', 'Liberation Sans', Arial, sans-serif")
    root.set("role", "img")
    root.set("aria-label", label)
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written
