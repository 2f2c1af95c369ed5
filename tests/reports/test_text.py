from __future__ import annotations

import ast
import csv
import json
from pathlib import Path

import pytest
from reportlab.pdfbase import pdfmetrics

from reports.pdf import text
from reports.pdf.ink import RUNNING
from tests.reports.shapes import HOSTILE

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("Zo\u0308e", "Zöe"),
        ("a\x00b\x07c", "a b c"),
        ("\u202eabc\u202c", "abc"),
        ("half \ud800 letter", "half \ufffd letter"),
        ("  two\r\nlines ", "two\nlines"),
        (12, "12"),
    ],
)
def test_clean_composes_letters_and_drops_what_cannot_be_printed(typed, printed):
    assert text.clean(typed) == printed


@pytest.mark.parametrize(
    ("typed", "escaped"),
    [
        ("<b>bold", "&lt;b&gt;bold"),
        ('<img src="/etc/hostname"/>', '&lt;img src="/etc/hostname"/&gt;'),
        ("Tom & Jerry", "Tom &amp; Jerry"),
        ("a\nb", "a<br/>b"),
    ],
)
def test_text_prints_markup_as_it_was_typed(typed, escaped):
    assert text.text(typed) == escaped


@pytest.mark.parametrize("typed", HOSTILE)
def test_a_paragraph_of_anything_holds_the_letters_that_were_typed(typed):
    made = text.paragraph(typed, style=RUNNING)
    assert " ".join(made.getPlainText().split()) == text.one_line(typed)


@pytest.mark.parametrize("typed", HOSTILE)
def test_wrapped_lines_are_no_wider_than_asked_and_lose_no_letter(typed):
    lines = text.wrap(typed, width=60, face=text.SANS, size=9)
    assert all(text.width_of(line, face=text.SANS, size=9) <= 60 for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.clean(typed).split())


def test_a_short_line_stays_and_a_long_one_ends_with_dots():
    assert text.shorten("Figwort", width=100, face=text.SANS, size=9) == "Figwort"
    cut = text.shorten("Figwort " * 40, width=100, face=text.SANS, size=9)
    assert cut.endswith("…")
    assert text.width_of(cut, face=text.SANS, size=9) <= 100


def test_figures_have_one_width_so_that_columns_line_up():
    text.register_fonts()
    for face in text.FACES:
        assert len({pdfmetrics.stringWidth(figure, face, 10) for figure in "0123456789"}) == 1


def _strings(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else []
    return [found for part in inner for found in _strings(part)]


def _words_of_the_fixtures() -> set[str]:
    words: set[str] = set()
    for path in (ROOT / "fixtures").rglob("*.json"):
        words |= set(_strings(json.loads(path.read_text(encoding="utf-8"))))
    for path in (ROOT / "fixtures").rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as lines:
            words |= {cell for row in csv.reader(lines) for cell in row}
    return words


@pytest.mark.parametrize("face", text.FACES)
def test_every_letter_of_the_demonstration_is_in_every_face(face):
    words = _words_of_the_fixtures()
    assert len(words) > 100
    letters = {letter for word in words for letter in text.clean(word)}
    assert text.missing_letters("".join(letters), face=face) == set()


def test_letters_that_a_face_lacks_take_the_plain_face():
    assert text.face_for("Figwort", face=text.SERIF_BOLD) == text.SERIF_BOLD
    assert text.face_for("אבגד", face=text.SERIF_BOLD) == text.SANS


def test_a_letter_that_no_face_has_is_logged_once(caplog, monkeypatch):
    monkeypatch.setattr(text, "_SEEN_MISSING", set())
    for _ in range(2):
        assert text.face_for("李", face=text.BOLD) == text.SANS
    assert [record.getMessage() for record in caplog.records] == [
        "The print fonts have no picture for U+674E; a box is printed for it."
    ]


def test_paragraphs_are_made_in_one_module_only():
    """Text that reaches a Paragraph in any other way could be read as markup and open local files."""
    users = []
    for path in sorted((ROOT / "reports").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(node, "id", getattr(node, "attr", None))
            imported = isinstance(node, ast.ImportFrom) and any(alias.name == "Paragraph" for alias in node.names)
            if name == "Paragraph" or imported:
                users.append(path.relative_to(ROOT).as_posix())
    assert set(users) == {"reports/pdf/text.py"}
