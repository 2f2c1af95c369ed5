"""Every document in several shapes, read back from the file it became."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from pypdf import PageObject, PdfReader

from reports.pdf import (
    certificates,
    championship,
    results,
    running_order,
    season_list,
    season_statement,
    sheets,
    working,
)
from reports.pdf.ink import MARGIN
from reports.pdf.text import missing_letters, one_line, width_of
from tests.reports import season_shapes, shapes

A4 = (595, 842)


def read(pages: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pages))


def words(pages: bytes) -> str:
    """All text of the document with single blanks."""
    return " ".join(" ".join(page.extract_text() for page in read(pages).pages).split())


def closed_up(pages: bytes) -> str:
    """All text without blanks: what a line break split is whole again."""
    return "".join(words(pages).split())


BUILDS: dict[str, Callable[[], bytes]] = {
    "results, 1 judge": lambda: results.build(shapes.results(seats=1)),
    "results, 3 judges, teams": lambda: results.build(shapes.results(seats=3, teams=True)),
    "results, 5 judges, 60 entries": lambda: results.build(shapes.results(seats=5, entries=60)),
    "results, 7 judges": lambda: results.build(shapes.results(seats=7)),
    "results, nobody": lambda: results.build(shapes.results(entries=0, others=False)),
    "freestyle, 3 judges": lambda: results.build(shapes.freestyle()),
    "freestyle, 1 judge": lambda: results.build(shapes.freestyle(seats=1)),
    "freestyle, 5 judges": lambda: results.build(shapes.freestyle(seats=5)),
    "freestyle, 7 judges": lambda: results.build(shapes.freestyle(seats=7, teams=True)),
    "eventing": lambda: results.build(shapes.eventing()),
    "championship": lambda: championship.build(shapes.championship()),
    "championship, teams of classes": lambda: championship.build(shapes.championship(classes=5, teams="classes")),
    "championship, teams of members": lambda: championship.build(shapes.championship(entries=60, teams="units")),
    "championship, 20 classes": lambda: championship.build(shapes.championship(classes=20, teams="classes")),
    "championship, nobody": lambda: championship.build(shapes.championship(entries=0)),
    "running order": lambda: running_order.build(shapes.running_order()),
    "running order, 60 rides": lambda: running_order.build(shapes.running_order(count=60)),
    "running order, nobody": lambda: running_order.build(shapes.running_order(count=0)),
    "season list": lambda: season_list.build(season_shapes.season_list()),
    "season list, nobody": lambda: season_list.build(season_shapes.season_list(tables=())),
    "season list, 900 rows": lambda: season_list.build(
        season_shapes.season_list(tables=(season_shapes.list_table(rows=900),))
    ),
    "awards": lambda: season_list.build(season_shapes.season_list(name="awards")),
    "awards of tiers": lambda: season_list.build(season_shapes.tiers()),
    "qualified, not final": lambda: season_list.build(season_shapes.season_list(name="qualified", edition=None)),
    "working": lambda: working.build(shapes.results(entries=40, working=shapes.WORKING)),
    "working without entries": lambda: working.build(shapes.results(entries=0, others=False)),
    "sheet": lambda: sheets.build(shapes.sheets()),
    "sheet without remarks": lambda: sheets.build(shapes.sheets(remarks=False)),
    "sheets of 5 judges": lambda: sheets.build(shapes.sheets(count=5)),
    "sheets with long remarks": lambda: sheets.build(shapes.sheets(count=2, long=True)),
    "no sheet": lambda: sheets.build(shapes.sheets(count=0)),
    "statement": lambda: season_statement.build(shapes.season_statement()),
    "statement, 80 scores": lambda: season_statement.build(shapes.season_statement(counted=80)),
    "statement, nothing": lambda: season_statement.build(shapes.season_statement(tables=(), scores=())),
}


@cache
def built(name: str) -> bytes:
    return BUILDS[name]()


@pytest.mark.parametrize("name", BUILDS)
def test_the_same_data_gives_the_same_bytes(name):
    first = built(name)
    assert BUILDS[name]() == first
    assert first.startswith(b"%PDF-")


@pytest.mark.parametrize("name", BUILDS)
def test_pages_are_a4_numbered_and_titled_with_only_our_own_fonts(name):
    document = read(built(name))
    count = len(document.pages)
    for number, page in enumerate(document.pages, start=1):
        size = (round(page.mediabox.width), round(page.mediabox.height))
        assert size in {A4, A4[::-1]}
        assert f"Page {number} of {count}" in page.extract_text()
        for font in page["/Resources"]["/Font"].values():
            assert "DejaVu" in font["/BaseFont"] or font["/BaseFont"] == "/Helvetica"
    assert document.metadata.title


def printed_edges(page: PageObject) -> list[tuple[float, float]]:
    """Where each printed string starts and ends, in points from the left edge."""
    edges: list[tuple[float, float]] = []

    def note(written: str, at: list[float], matrix: list[float], font: dict[str, str] | None, size: float) -> None:
        if written.strip() and font:
            face = font["/BaseFont"].partition("+")[2]
            left = at[4] + at[0] * matrix[4]
            edges.append((left, left + width_of(written.strip("\n"), face=face, size=size)))

    page.extract_text(visitor_text=note)
    return edges


@pytest.mark.parametrize("name", BUILDS)
def test_nothing_is_printed_beyond_the_margins(name):
    for page in read(built(name)).pages:
        edges = printed_edges(page)
        assert len(edges) > 3
        assert min(left for left, _ in edges) >= MARGIN - 0.01
        assert max(right for _, right in edges) <= float(page.mediabox.width) - MARGIN + 0.01


@pytest.mark.parametrize(("seats", "size"), [(1, A4), (4, A4), (5, A4[::-1]), (7, A4[::-1])])
def test_many_judges_lay_the_result_list_on_its_side(seats, size):
    page = read(results.build(shapes.results(seats=seats))).pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == size


def test_a_result_list_says_all_that_a_rider_asks():
    data = shapes.results(
        seats=3, teams=True, state="official", revision=2, published_at=shapes.MORNING, correcting=True
    )
    printed = words(results.build(data))
    for expected in (
        "Official results, revision 2, correction under way",
        "Official since 14 November 2026, 09:00 (Europe/Vienna)",
        "Mirefell Riding Ground · arena B · 14 November 2026",
        "Eliminated",
        "third error of course",
        "Hors concours",
        "horse unlevel",
        "66.250",
        "so far",
        "Judges: C Marguerite Sauvignac · H Tamás Keresztúri · B Łucja Żbikowska",
        "212.430",
        "Joséphine Carcassès (12) 70.112",
        "The first error of course costs 2 points",
        "Version 37 of the class",
    ):
        assert expected in printed
    for line in data.lines:
        assert line.rider in printed
        assert line.horse in printed
        for seat in line.seats.values():
            assert seat.percentage in printed


def test_shared_places_ties_and_moved_sheets_are_explained():
    moved = {"C": shapes.SeatFigures(percentage="58.000", place=9, adjusted_to="64.500")}
    lines = (
        shapes.result_line(0, seats=1, placing=1, shared=True, tie="equal with 11, parted by collectives: 56.5"),
        shapes.result_line(1, seats=1, placing=1, shared=True),
        replace(shapes.result_line(2, seats=1, placing=3), seats=moved),
    )
    printed = words(results.build(shapes.results(seats=2, lines=lines)))
    assert printed.count("1=") == 2
    assert "equal with 11, parted by collectives: 56.5" in printed
    assert "= marks a shared place." in printed
    assert "→ 64.500" in printed
    assert "moved a sheet that stood far from the others" in printed


def test_a_freestyle_has_its_parts_and_no_sum_of_points_that_weigh_differently():
    data = shapes.freestyle()
    printed = words(results.build(data))
    assert "Technical %" in printed
    assert "Artistic %" in printed
    assert "Points" not in printed.partition("Rule set:")[0]
    for line in data.lines:
        assert all(figure in printed for figure in line.parts.values())


def test_penalties_stand_in_an_eventing_list():
    data = shapes.eventing()
    printed = words(results.build(data))
    assert "Penalty" in printed
    assert all(line.penalty in printed for line in data.lines if line.penalty)


@pytest.mark.parametrize("classes", [2, 7, 20])
@pytest.mark.parametrize("teams", ["classes", "units"])
def test_a_championship_has_places_figures_teams_reasons_and_its_rule(teams, classes):
    data = shapes.championship(teams=teams, state="official", classes=classes)
    printed = words(championship.build(data))
    whole = "".join(printed.split())
    for line in data.lines:
        assert line.name in printed
        assert all(cell.figure in printed for cell in line.cells)
        assert "".join(line.tie.split()) in whole
    for team in data.teams:
        assert team.team in printed
        assert team.value is None or team.value in printed
        assert all(member in printed for member in team.members)
    for expected in (
        "Official places",
        "As of 14 November 2026, 09:00 (Europe/Vienna)",
        "Mirefell Riding Ground · 13 November 2026 to 15 November 2026",
        "Without a place",
        "Class 1: eliminated.",
        "= marks a shared place.",
        "The highest wins.",
        "Source of the rule: the schedule of the competition.",
        "Class 2, Larkfield Elementary 2: provisional",
    ):
        assert "".join(expected.split()) in whole


def test_a_championship_that_cannot_be_worked_out_says_why():
    assert "has no penalty" in words(
        championship.build(shapes.championship(entries=0, problem="Entry 1 has no penalty."))
    )


def test_sixty_entries_before_five_judges_take_at_most_four_pages():
    document = read(results.build(shapes.results(seats=5, entries=60)))
    assert 3 <= len(document.pages) <= 4
    for page in document.pages[1:]:
        assert "Results · Mirefell November Days" in page.extract_text()


def test_a_running_order_holds_times_breaks_and_who_has_withdrawn():
    printed = words(running_order.build(shapes.running_order()))
    assert "23 starters, first ride 09:00" in printed
    assert printed.count("Break, 15 minutes") == 2
    assert "09:07" in printed
    assert "withdrawn" in printed
    assert "Times in Europe/Vienna. 7 min 30 s from ride to ride." in printed


def test_a_sheet_holds_every_mark_word_and_what_came_off():
    data = shapes.sheets()
    printed = words(sheets.build(data))
    whole = "".join(printed.split())
    for line in data.sheets[0].lines:
        assert "".join(line.words.split()) in whole
        assert "".join(line.remark.split()) in whole
        assert line.mark in printed
    for expected in (
        "67.121 %",
        "221.5 of 330 points",
        "2 points off for 1 error of course",
        "Collective marks",
        "Where most marks were lost",
        "Judge at C: Marguerite Sauvignac",
        "Signed by the judge, last written 14 November 2026, 09:00 (Europe/Vienna).",
        "Result: 3rd of 14 with 67.410 %, official.",
        "the office put in the mean of the other marks",
    ):
        assert expected in printed


def test_a_sheet_leads_from_the_mark_to_the_place_and_says_what_to_practise():
    data = shapes.sheets()
    printed = words(sheets.build(data))
    for expected in ("What to practise next", "Signature of Marguerite Sauvignac", "How the result was worked out"):
        assert expected in printed
    closed = closed_up(sheets.build(data))
    for number, line in enumerate(data.working, start=1):
        assert f"{number}.{line}".replace(" ", "") in closed
    assert "The panel's other sheets" in printed
    assert "Tamás Keresztúri" in printed
    several = read(sheets.build(shapes.sheets(count=5))).pages[-1].extract_text()
    assert "FROM THE SHEETS TO THE PLACE" in several.upper()
    assert all(judge in several for judge in shapes.JUDGES[:5])
    assert "More bend, earlier." in several


def test_a_sheet_without_remarks_is_one_page_and_has_no_column_for_them():
    pages = sheets.build(shapes.sheets(remarks=False))
    assert len(read(pages).pages) == 1
    assert "Remark" not in words(pages)


def test_each_judge_has_a_page_of_their_own():
    document = read(sheets.build(shapes.sheets(count=5)))
    first = [page.extract_text() for page in document.pages if "Judge at" in page.extract_text()]
    assert len(first) == 5
    assert all(judge in page for judge, page in zip(shapes.JUDGES, first, strict=False))


def test_a_remark_longer_than_a_page_is_printed_whole():
    printed = words(sheets.build(shapes.sheets(count=2, long=True)))
    assert printed.count("sooner") == 250
    assert printed.count("Keep") == 400


def test_a_sheet_that_is_not_complete_says_so():
    sheet = replace(shapes.sheet(), complete=False, signed=False, changed_at=None)
    printed = words(sheets.build(shapes.sheets(sheets=(sheet,))))
    assert "not complete" in printed
    assert "Not signed." in printed


def test_a_statement_says_what_counts_what_does_not_and_what_is_missing():
    printed = words(season_statement.build(shapes.season_statement()))
    for expected in (
        "70.112",
        "requirements not met yet",
        "Still missing: at least 8 scores (7 of 8); at least 4 competitions (3 of 4).",
        "Counted: 9",
        "Not counted: 2",
        "Not eligible: 1",
        "As of 3 February 2027, 18:05 (UTC)",
        "The value is the median of the eight best percentages",
        "Version 12 of the standings.",
    ):
        assert expected in printed
    assert "Theriderwasnotamemberonthedayoftheride." in closed_up(season_statement.build(shapes.season_statement()))


def hostile_documents(name: str) -> dict[str, bytes]:
    """Put one name wherever people type."""
    head = shapes.class_head(
        competition=name, venue=name, title=name, test=name, division=name, arena=name, number=one_line(name)[:10]
    )
    line = shapes.result_line(0, seats=1, number=name[:10], rider=name, horse=name, team=name, reason=name, tie=name)
    out = shapes.result_line(1, seats=0, placing=None, rider=name, horse=name, status="eliminated", reason=name)
    ride = shapes.RideLine(
        order=1, ride_time=shapes.MORNING, number=name[:10], rider=name, horse=name, owner=f"{name}.", team=name
    )
    item = shapes.ItemLine(item=name[:6], at=name, words=name, mark="6.5", points="6.5", lost="3.5", remark=name)
    sheet = replace(shapes.sheet(), judge=name, lines=(item,), lost=(item,), overall_remarks=name, off=(name,))
    requirement = shapes.RequirementLine(words=name, have="1", need="2", met=False)
    table = shapes.TableStanding(
        group=name, placing=1, shared=False, value="70.000", qualified=True, rows=3, requirements=(requirement,)
    )
    score = shapes.score_line(0, competition=name, class_name=name, test=name, judges=(name, name), sentence=name)
    return {
        "results": results.build(
            shapes.results(
                head=head, lines=(line, out), panel=(("C", name),), rules_title=name, rule=name, problem=name,
                teams=True,
            )
        ),
        "running order": running_order.build(shapes.running_order(head=head, rides=(ride,), judges=(("C", name),))),
        "sheets": sheets.build(
            shapes.sheets(head=head, number=name[:10], rider=name, horse=name, result=name, sheets=(sheet,))
        ),
        "statement": season_statement.build(
            shapes.season_statement(
                association=name, season=name, rider=name, horse=name, scheme=name, tables=(table,), scores=(score,),
                rule=(name,),
            )
        ),
        "season list": season_list.build(
            season_shapes.season_list(
                association=name, season=name, scheme=name, rule=(name,), tables=(season_shapes.ListTable(
                    name, {}, (season_shapes.list_row(0, rider=name, horse=name, unit=name),)
                ),),
            )
        ),
        "certificates": certificates.build(
            season_shapes.certificates(((name, name),), association=name, season=name)
        ),
    }  # fmt: skip


@pytest.mark.parametrize("name", shapes.HOSTILE, ids=lambda name: ascii(name)[:24])
def test_no_name_breaks_a_document_or_is_read_as_markup(name):
    wanted = "".join(one_line(name).split())
    for kind, pages in hostile_documents(name).items():
        printed = closed_up(pages)
        document = read(pages)
        assert all("/XObject" not in page["/Resources"] for page in document.pages), kind
        if not missing_letters(wanted) and not any(0x590 <= ord(letter) <= 0x6FF for letter in wanted):
            assert wanted in printed, kind


def test_a_thousand_rows_are_laid_out():
    pages = results.build(shapes.results(seats=3, entries=1000, others=False))
    assert len(read(pages).pages) > 30
