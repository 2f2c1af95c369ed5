"""The look of the prints: ink on paper with sand for bands and rules, sizes in points, and dates in words."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm

from reports.pdf.text import OBLIQUE, SANS

INK = HexColor(0x23272B)
SOFT = HexColor(0x6A6256)
SAND = HexColor(0xF6F0E4)
DUNE = HexColor(0xE4D8C0)
RULE = HexColor(0xC9BA9B)
EARTH = HexColor(0x8A5527)

MARGIN = 16 * mm
HEAD = 15 * mm
FOOT = 18 * mm

BODY = 8.6
SMALL = 7.2
LABEL = 6.6

RUNNING = ParagraphStyle(
    "running",
    fontName=SANS,
    fontSize=BODY,
    leading=12.4,
    textColor=INK,
    allowWidows=0,
    allowOrphans=0,
    spaceShrinkage=0,
)
NOTE = ParagraphStyle("note", parent=RUNNING, fontSize=SMALL + 0.3, leading=10.4, textColor=SOFT)
REASON = ParagraphStyle("reason", parent=NOTE, fontName=OBLIQUE)


def day(value: date) -> str:
    """Return ``14 November 2026``."""
    return f"{value.day} {value:%B %Y}"


def moment(value: datetime, *, zone: str) -> str:
    """Return ``14 November 2026, 17:32 (Europe/Vienna)``: a time never stands without its zone."""
    local = value.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M} ({zone})"


def clock(value: datetime, *, zone: str) -> str:
    """Return ``09:07`` at the place."""
    return f"{value.astimezone(ZoneInfo(zone)):%H:%M}"
