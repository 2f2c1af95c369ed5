"""Text on its way into a document: cleaned, in a face that has its letters, measured, wrapped.

Everything that people typed passes ``clean``; what is to be a Paragraph passes ``text``, which escapes it, because a
Paragraph reads its text as markup (a name like ``<img src=...>`` would open a local file). No other module makes one.
"""

from __future__ import annotations

import logging
import unicodedata
from functools import lru_cache
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

log = logging.getLogger("markbook.reports")

SANS = "DejaVuSansCondensed"
BOLD = "DejaVuSansCondensed-Bold"
OBLIQUE = "DejaVuSansCondensed-Oblique"
SERIF = "DejaVuSerifCondensed"
SERIF_BOLD = "DejaVuSerifCondensed-Bold"
FACES = (SANS, BOLD, OBLIQUE, SERIF, SERIF_BOLD)

_FOLDER = Path(__file__).resolve().parent / "fonts"
# Controls, invisible direction and joining marks, half characters that no file may hold, private letters.
_UNPRINTABLE = {"Cc": " ", "Cf": "", "Cs": "\N{REPLACEMENT CHARACTER}", "Co": "\N{REPLACEMENT CHARACTER}"}
_SEEN_MISSING: set[str] = set()


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make the faces known to ReportLab, once in a process."""
    for face in FACES:
        pdfmetrics.registerFont(TTFont(face, str(_FOLDER / f"{face}.ttf")))


@lru_cache(maxsize=len(FACES))
def _letters(face: str) -> frozenset[int]:
    register_fonts()
    return frozenset(pdfmetrics.getFont(face).face.charToGlyph)


def clean(value: object) -> str:
    """Compose the letters (NFC) and drop what cannot be printed; line breaks stay, other controls become blanks."""
    composed = unicodedata.normalize("NFC", str(value)).replace("\r\n", "\n").replace("\r", "\n")
    return "".join(_printable(letter) for letter in composed).strip()


def _printable(letter: str) -> str:
    category = unicodedata.category(letter)
    if letter == "\n" or category not in _UNPRINTABLE:
        return letter
    return _UNPRINTABLE[category]


def one_line(value: object) -> str:
    """Return cleaned text with every run of white space as one blank."""
    return " ".join(clean(value).split())


def missing_letters(value: str, *, face: str = SANS) -> set[str]:
    """Return the letters that a face has no picture for."""
    return {letter for letter in value if not letter.isspace() and ord(letter) not in _letters(face)}


def face_for(value: str, *, face: str) -> str:
    """Return the face asked for, or the plain one where only that has all letters; what none has is logged once."""
    if not missing_letters(value, face=face):
        return face
    lacking = missing_letters(value, face=SANS)
    for letter in sorted(lacking - _SEEN_MISSING):
        _SEEN_MISSING.add(letter)
        log.warning("The print fonts have no picture for U+%04X; a box is printed for it.", ord(letter))
    return SANS


def width_of(value: str, *, face: str, size: float) -> float:
    register_fonts()
    return float(pdfmetrics.stringWidth(value, face, size))


def wrap(value: object, *, width: float, face: str, size: float) -> list[str]:
    """Break text into lines no wider than ``width`` points; a word wider than that is broken between letters."""
    lines: list[str] = []
    for written in clean(value).split("\n"):
        line = ""
        for word in written.split():
            joined = f"{line} {word}" if line else word
            if width_of(joined, face=face, size=size) <= width:
                line = joined
                continue
            if line:
                lines.append(line)
            *full, line = _pieces(word, width=width, face=face, size=size)
            lines.extend(full)
        lines.append(line)
    return lines


def _pieces(word: str, *, width: float, face: str, size: float) -> list[str]:
    if width_of(word, face=face, size=size) <= width:
        return [word]
    pieces, piece = [], ""
    for letter in word:
        if piece and width_of(piece + letter, face=face, size=size) > width:
            pieces.append(piece)
            piece = ""
        piece += letter
    return [*pieces, piece]


def shorten(value: object, *, width: float, face: str, size: float) -> str:
    """Return one line that fits; only for running heads, whose full text stands on the first page."""
    line = one_line(value)
    if width_of(line, face=face, size=size) <= width:
        return line
    while line and width_of(f"{line}…", face=face, size=size) > width:
        line = line[:-1]
    return f"{line.rstrip()}…"


def text(value: object) -> str:
    """Return what people typed as text that a Paragraph prints letter by letter: cleaned, escaped, line breaks kept."""
    return escape(clean(value)).replace("\n", "<br/>")


_FACES = {"bold": BOLD, "italic": OBLIQUE}


def paragraph(*runs: object, style: ParagraphStyle) -> Paragraph:
    """Return a Paragraph of the runs with a blank between them; ``("bold", words)`` or ``("italic", words)`` is one."""
    register_fonts()
    parts = []
    for run in runs:
        wanted, words = (_FACES[run[0]], run[1]) if isinstance(run, tuple) else (style.fontName, run)
        face = face_for(clean(words), face=wanted)
        parts.append(text(words) if face == style.fontName else f'<font name="{face}">{text(words)}</font>')
    return Paragraph(" ".join(parts), style)
