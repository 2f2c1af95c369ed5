"""Documents made from rows: what stands in the database is what is printed."""

from __future__ import annotations

import io
from datetime import date

import pytest
from django.urls import reverse
from pypdf import PdfReader

from competitions.services.championships import update_championship
from competitions.services.differences import decide_all_findings
from competitions.services.documents import save_test
from competitions.services.entries import set_outcome
from competitions.services.results import make_official
from competitions.services.team_rules import set_team_rules
from reports import championship_sources, season_sources, sources
from reports.kinds import KINDS, PairSeason
from reports.services.printing import PRINTS
from riders.services.standings import rebuild_standings
from tests import builders

pytestmark = pytest.mark.django_db


def printed(kind: str, subject: object) -> str:
    chosen = PRINTS[kind]
    reader = PdfReader(io.BytesIO(chosen.build(chosen.read(subject))))
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.fixture
def official_class(judged_class, office):
    first, second, third = judged_class.entries.order_by("number")
    set_outcome(first, expected_version=first.version, by=office, status="completed", errors=1)
    set_outcome(second, expected_version=second.version, by=office, status="completed")
    set_outcome(third, expected_version=third.version, by=office, status="eliminated", reason="fall of the rider")
    decide_all_findings(judged_class, reason="compared with the paper sheets", by=office)
    make_official(judged_class, by=office)
    judged_class.refresh_from_db()
    return judged_class


def test_a_result_list_has_the_figures_of_the_board_and_its_address(official_class, settings):
    data = sources.results_data(official_class)
    assert (data.state, data.revision) == ("official", 1)
    assert [(line.number, line.placing, line.status) for line in data.lines] == [
        ("2", 1, "completed"),
        ("1", 2, "completed"),
        ("3", None, "eliminated"),
    ]
    assert data.head.address == settings.PUBLIC_URL + reverse("board", args=["linden-autumn", "1"])
    assert "The first error of course costs 2 points" in data.rule
    text = printed("results", official_class)
    assert "Official results, revision 1" in text
    assert "fall of the rider" in text
    for line in data.lines[:2]:
        assert line.total in text


def test_the_working_of_a_class_leads_every_entry_to_its_place(official_class):
    data = sources.results_data(official_class)
    text = "".join(printed("working", official_class).split())
    lines = [sentence for line in data.lines for sentence in line.working]
    assert len(lines) > len(data.lines)
    for sentence in lines:
        assert "".join(sentence.split()) in text
    assert "fallofthe" in text


def test_a_sheet_has_marks_remarks_and_the_working_of_what_came_off(official_class):
    entry = official_class.entries.get(number="1")
    sheet = entry.sheets.get(seat__seat="H")
    data = sources.sheet_data(sheet)
    assert [line.item for line in data.sheets[0].lines] == ["1", "2", "3", "4", "G1", "G2"]
    assert data.sheets[0].off[0] == "Off this sheet for 1 error of course."
    assert data.sheets[0].reduced
    assert data.sheets[0].off[1].startswith("H: ")
    assert data.result.startswith("place 2 of 2")
    text = printed("sheet", sheet)
    assert "Rider 1" in text
    assert f"{data.sheets[0].percentage} %" in text


def test_a_sheet_says_from_where_it_was_filmed_and_what_the_camera_hid(judged_class, office):
    judged_class.from_recordings = True
    judged_class.save()
    entry = judged_class.entries.get(number="1")
    assert "recording" not in printed("sheet", entry.sheets.get(seat__seat="C"))
    entry.recordings.create(state="kept", link="https://films.example/1", camera_letter="C", camera_height=250)
    builders.mark_sheet(entry, "C", marks={}, limited=["2", "G1"], by=office)
    words = printed("sheet", entry.sheets.get(seat__seat="C"))
    assert "Judged from a recording, filmed at C, 2.50 m high; limited view of 2, G1." in words


def test_what_comes_off_the_total_is_not_said_to_come_off_the_sheet(judged_class, office):
    rules = judged_class.rule_set
    rules.document |= {"errors": {"off": "total-percentage", "steps": ["2"], "eliminated_at": 2}}
    rules.save()
    entry = judged_class.entries.get(number="1")
    whip = {"off": "sheet-points", "amount": "2", "seat": "H", "reason": "whip"}
    set_outcome(entry, expected_version=entry.version, by=office, status="completed", errors=1, deductions=[whip])
    total = "Off the total, not off this sheet, for 1 error of course."
    sheets = {sheet.seat: sheet for sheet in sources.all_sheets_data(entries_of(judged_class, "1")).sheets}
    assert (sheets["C"].off, sheets["C"].reduced) == ((total,), False)
    assert sheets["H"].off[0] == "Off this sheet for whip."
    assert sheets["H"].off[-1] == total
    assert sheets["H"].reduced


def entries_of(competition_class, number):
    return type(competition_class).objects.get(pk=competition_class.pk).entries.get(number=number)


def test_the_sheets_of_an_entry_come_in_the_order_of_the_panel(official_class):
    data = sources.all_sheets_data(official_class.entries.get(number="2"))
    assert [sheet.seat for sheet in data.sheets] == ["C", "H", "B"]
    assert data.state == "official"


def test_a_sheet_of_which_only_the_result_is_known_has_no_lines(judged_class):
    sheet = judged_class.entries.get(number="1").sheets.get(seat__seat="C")
    type(sheet).objects.filter(pk=sheet.pk).update(given_result={"percentage": "67.273"}, marks={})
    sheet.refresh_from_db()
    data = sources.sheet_data(sheet)
    assert data.sheets[0].lines == ()
    assert data.sheets[0].percentage == "67.273"
    assert "67.273 %" in printed("sheet", sheet)


def test_a_running_order_has_times_breaks_and_owners(judged_class):
    type(judged_class).objects.filter(pk=judged_class.pk).update(breaks=[{"after": 2, "minutes": 20}])
    judged_class.refresh_from_db()
    data = sources.running_order_data(judged_class)
    assert [ride.pause_minutes for ride in data.rides] == [0, 20, 0]
    assert data.rides[0].owner == "Owner 1"
    text = printed("running-order", judged_class)
    assert "Break, 20 minutes" in text
    assert "09:00" in text


@pytest.fixture
def championship(official_class):
    """A second class, still provisional, and both put together."""
    competition = official_class.competition
    second = builders.make_class(competition, number="2", title="Novice freestyle", entries=3)
    for entry, mark in zip(second.entries.order_by("number"), (60, 70, 65), strict=True):
        builders.mark_sheet(entry, mark=mark)
    rules = {"method": "mean", "decimals": 3, "sources": ["the schedule"], "drop_out": "40"}
    return builders.make_championship(competition, classes=[official_class, second], rules=rules)


def test_a_championship_has_the_figures_of_its_page_and_its_rule(championship, settings):
    data = championship_sources.championship_data(championship)
    assert [(line.name, line.below, line.placing, line.value) for line in data.lines] == [
        ("Rider 2", "Horse 2", 1, "72.500"),
        ("Rider 1", "Horse 1", 2, "63.750"),
        ("Rider 3", "Horse 3", 3, "52.500"),
    ]
    assert [(cell.figure, cell.note) for cell in data.lines[2].cells] == [("40", "eliminated"), ("65.000", "")]
    assert (data.state, data.value_title, data.sources) == ("provisional", "Mean %", "the schedule")
    assert data.classes == (
        "Class 1, Novice: official, revision 1",
        "Class 2, Novice freestyle: provisional",
    )
    assert data.address == settings.PUBLIC_URL + reverse("championship", args=["linden-autumn", "small-tour"])
    text = printed("championship", championship)
    assert "Provisional places" in text
    assert "A class that ends without a figure counts as 40." in text


def test_a_championship_is_printed_anew_when_one_of_its_classes_changes(championship):
    kind = KINDS["championship"]
    before = kind.version(championship)
    assert kind.version(championship) == before
    builders.mark_sheet(championship.parts.last().competition_class.entries.get(number="1"), mark=80)
    assert kind.version(championship) != before
    assert len(before) <= 80


@pytest.mark.parametrize("source", ["classes", "units"])
def test_teams_of_a_championship_are_printed(championship, source):
    members = {builders.make_pair(n).key: "Green" for n in (1, 2)}
    teams = {"from": source, "method": "sum"} | ({"members": members} if source == "units" else {})
    if source == "classes":
        for part in championship.parts.all():
            part.competition_class.entries.update(team="Green")
        set_team_rules(championship.parts.last().competition_class, {"counting": 2, "method": "sum"}, by=None)
    rules = {"method": "mean", "decimals": 3, "teams": teams}
    changed = update_championship(championship, expected_version=1, by=None, rules=rules)
    (team,) = championship_sources.championship_data(changed).teams
    if source == "units":
        assert (team.value, team.members) == ("136.250", ("Rider 1 with Horse 1 63.750", "Rider 2 with Horse 2 72.500"))
    else:
        assert (team.value, [cell.figure for cell in team.cells]) == (None, ["", "135.000"])
    assert "Green" in printed("championship", changed)


def test_a_freestyle_and_its_teams_are_read_with_parts_and_names(official_class, office):
    parts = {"technical": "1", "artistic": "1"}
    document = builders.make_test_document(id="free")
    for item in document["items"][-2:]:
        item |= {"part": "artistic", "mark": {"min": "0", "max": "10", "step": "0.1"}}
    found = builders.make_class(
        official_class.competition,
        number="5",
        entries=2,
        test=save_test(document),
        rule_set=builders.make_rule_set(id="free-rules", parts=parts, ties=[]),
    )
    for entry in found.entries.all():
        entry.team = "Green"
        entry.save()
        builders.mark_sheet(entry, marks={"1": 60, "2": 60, "3": 60, "4": 60, "G1": 73, "G2": 73})
    set_team_rules(found, {"counting": 2, "method": "mean"}, by=None)
    found.refresh_from_db()
    data = sources.results_data(found)
    assert data.parts == ("technical", "artistic")
    assert dict(data.lines[0].parts) == {"technical": "60.000", "artistic": "73.000"}
    assert data.teams[0].counting == ("Rider 1 (1) 66.500", "Rider 2 (2) 66.500")
    assert "73.000" in printed("results", found)


@pytest.fixture
def pair_season(official_class) -> PairSeason:
    season = builders.make_season()
    rebuild_standings(season)
    season.refresh_from_db()
    return PairSeason(official_class.entries.get(number="2").pair, season)


def test_a_statement_explains_each_score_and_what_is_missing(pair_season):
    data = season_sources.season_statement_data(pair_season.pair, pair_season.season)
    assert data.as_of == pair_season.season.computed_at
    assert len(data.scores) == 1
    assert data.scores[0].date == date(2026, 11, 14)
    assert data.scores[0].sentence
    assert (data.scores[0].competition, data.scores[0].class_name) == ("Linden Autumn Days", "Class 1")
    assert data.scores[0].test == "Linden Novice 1"
    assert [line.met for line in data.tables[0].requirements] == [False, False]
    assert data.tables[0].requirements[0].words == "at least 2 scores"
    text = printed("season-statement", pair_season)
    assert "Still missing: at least 2 scores (1 of 2); at least 2 competitions (1 of 2)." in text
    for sentence in data.rule:
        assert "".join(sentence.split()) in "".join(text.split())


def test_any_of_and_at_most_requirements_are_read_from_the_standings():
    line = {
        "any_of": [
            {"count": "judges", "have": 1, "need": 2, "met": False},
            {"count": "scores", "have": 3, "at_most": 4, "met": True},
        ],
        "met": True,
    }
    read = season_sources._requirement(line, "")
    assert (read.words, read.have, read.need, read.met) == ("judges or scores", "1, 3", "2, at most 4", True)


@pytest.mark.parametrize("entries", [1, 10])
def test_reading_takes_the_same_few_queries_for_one_entry_and_for_ten(entries, office, django_assert_max_num_queries):
    competition_class = builders.make_class(builders.make_competition(office=office), entries=entries)
    subject = KINDS["results"].find(competition_class.pk, {})
    with django_assert_max_num_queries(4):
        PRINTS["results"].read(subject)
    with django_assert_max_num_queries(2):
        PRINTS["running-order"].read(subject)
