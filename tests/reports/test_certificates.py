"""Certificates read back: one page a unit, every name whole and within the border."""

from __future__ import annotations

import io

import pytest
from pypdf import PdfReader
from reportlab.lib.units import mm

from reports.pdf import certificates
from reports.pdf.text import width_of
from tests.reports import season_shapes as shapes

LONG = ("Maximiliane-Theodora von und zu Hohenstein-Wallburg auf Unterrötenbach", "Königin der Nacht vom Rosenhügel II")
LONGEST = ("Wilhelmina " * 11, "W" * 119)
LETTERS = (("Ольга Жаворонкова", "Сирень"), ("Ιωάννα Καρυπίδη", "Θύμαρι"), ("Łucja Żbikowska", "Ďáblík ě ş ğ ő"))


def pages_of(*names: tuple[str, str], **changes: object) -> list[str]:
    content = certificates.build(shapes.certificates(names, **changes))
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages]


def test_a_page_says_who_what_where_and_leaves_room_to_sign():
    (page,) = pages_of(("Mădălina Țurcașu", "Сирень"))
    for words in (
        "Valdemoor Dressage Association", "Certificate", "Season 2026", "Mădălina Țurcașu", "with", "Сирень",
        "1st place", "Novice", "value 70.112 · 4 scores counted", "Place and date", "For the association", "edition 1",
        "1 October 2025 to 30 September 2026", "check code 5f0c2c1d7f0f4a62",
    ):  # fmt: skip
        assert words in page, words


def test_each_unit_has_a_page_in_the_order_of_the_list():
    pages = pages_of(*LETTERS)
    assert len(pages) == 3
    for page, (rider, horse) in zip(pages, LETTERS, strict=True):
        assert rider in page
        assert horse in page


def test_a_unit_without_a_horse_stands_alone():
    (page,) = pages_of(("Team Harrow", ""))
    assert "Team Harrow" in page
    assert " with " not in page


@pytest.mark.parametrize("names", [LONG, LONGEST, LETTERS[2]])
def test_names_of_any_length_are_whole_and_stay_within_the_border(names):
    page = PdfReader(io.BytesIO(certificates.build(shapes.certificates((names,))))).pages[0]
    edges, heights = [], []

    def note(written: str, at: list[float], matrix: list[float], font: dict[str, str] | None, size: float) -> None:
        if written.strip() and font:
            face = font["/BaseFont"].partition("+")[2]
            left = at[4] + at[0] * matrix[4]
            edges.append((left, left + width_of(written.strip("\n"), face=face, size=size)))
            heights.append(at[5] + at[3] * matrix[5])

    printed = "".join(page.extract_text(visitor_text=note).split())
    for name in names:
        assert "".join(name.split()) in printed
    assert min(left for left, _ in edges) >= 20 * mm
    assert max(right for _, right in edges) <= 595 - 20 * mm
    # What was achieved stands above the line to sign on, and nothing is printed twice at a height but the two captions.
    assert sorted(heights)[1] > 40 * mm


def test_a_certificate_for_many_is_one_file():
    assert len(pages_of(*[("Rosalind Achterberg", "Figwort")] * 120)) == 120


def test_nobody_is_a_page_that_says_so():
    (page,) = pages_of()
    assert "No certificate" in page
