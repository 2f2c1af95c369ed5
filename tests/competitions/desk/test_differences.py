"""The table of differences: the seats side by side, and decisions one by one or all at once."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.urls import reverse

from competitions.desk.differences import difference_table
from competitions.models import CheckDecision
from competitions.services.differences import findings_of, lapsed_decisions
from competitions.services.documents import save_test
from competitions.services.results import make_official
from tests.builders import make_class, make_rule_set, make_test_document, mark_sheet

pytestmark = pytest.mark.django_db

WHY = "The judge at B confirms the marks."


@pytest.fixture
def ridden(cls):
    """1 has 70 and 53.75 %, and two movements far apart; 2 has one; 3 waits for B; all are signed."""
    one, two, three = (cls.entries.get(number=number) for number in "123")
    mark_sheet(one, "C", mark=70, signed=True)
    mark_sheet(one, "B", marks={"1": 40, "2": 40, "3": 60, "4": 65, "G1": 65, "G2": 60}, signed=True)
    mark_sheet(two, "C", mark=65, signed=True, substitutes=["3"])
    mark_sheet(two, "B", mark=65, marks={"1": 65, "2": 65, "3": 40, "4": 65, "G1": 65, "G2": 65}, signed=True)
    mark_sheet(three, "C", mark=90, signed=True)
    cls.refresh_from_db()
    return cls


def page_of(desk, cls) -> str:
    return desk.get(url_of(cls)).content.decode()


def url_of(cls) -> str:
    return reverse("desk-differences", args=[cls.competition.slug, cls.number])


def text(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)))


def finding(cls, key: str):
    return next(found for found in findings_of(cls) if found.key == key)


def decide(desk, cls, key: str, *, reason: str = WHY, figures: str | None = None):
    shown = finding(cls, key).figures if figures is None else figures
    return desk.post(url_of(cls), {"key": key, "figures": shown, "reason": reason})


def test_seats_stand_side_by_side_and_those_beyond_the_limit_are_named(desk, ridden):
    table = difference_table(ridden, findings_of(ridden))
    assert [line.entry.number for line in table.rides] == ["1", "2"]
    one, two = table.rides
    assert [(figure.seat, figure.text, figure.end) for figure in one.figures] == [
        ("C", "70.000", "highest"),
        ("B", "53.750", "lowest"),
    ]
    assert [(spread.gap, spread.beyond) for spread in one.spreads] == [("16.25", True)]
    assert [figure.end for figure in two.figures] == ["", ""]
    assert [figure.notes for figure in two.figures] == [("mark put in",), ()]
    assert [(spread.gap, spread.beyond) for spread in two.spreads] == [("3.125", False)]
    said = text(page_of(desk, ridden))
    assert "70.000 ▲ highest" in said
    assert "53.750 ▼ lowest" in said
    assert "16.25 ! beyond 5" in said
    assert "3.125 ! beyond" not in said


def test_movements_are_listed_only_where_their_marks_are_beyond_the_limit(desk, ridden):
    table = difference_table(ridden, findings_of(ridden))
    assert [
        (line.entry.number, line.item.id, [figure.text for figure in line.figures], line.gap)
        for line in table.movements
    ] == [("1", "1", ["7", "4"], "3"), ("1", "2", ["7", "4"], "3"), ("2", "3", ["6.5", "4"], "2.5")]
    assert table.movements[2].figures[0].notes == ("put in by the office",)
    said = text(page_of(desk, ridden))
    assert "Movement 3 A, X: Movement 3 6.5 ▲ highest ! put in by the office 4 ▼ lowest 2.5 ! beyond 2" in said


def test_without_limits_nothing_is_beyond_and_the_page_says_so(desk, ridden, competition):
    competition.seat_limit = competition.movement_limit = ""
    competition.save()
    ridden.competition.refresh_from_db()
    table = difference_table(ridden, ())
    assert table.movements == ()
    assert not table.rides[0].beyond
    said = text(page_of(desk, ridden))
    assert "There is no limit for seats" in said
    assert "To be decided (1)" in said  # the mark that the office put in


def test_seats_that_mark_different_parts_have_a_spread_of_their_own(competition):
    items = [{"id": "1", "text": "Trot", "part": "technical"}, {"id": "2", "text": "Music", "part": "artistic"}]
    test = save_test(make_test_document(id="linden-parts") | {"items": items})
    rules = make_rule_set(id="halves", parts={"technical": "1", "artistic": "1"}, ties=[])
    cls = make_class(competition, number="2", seats="CBE", entries=1, test=test, rule_set=rules)
    for seat, parts in (("C", ["technical"]), ("B", ["technical"]), ("E", ["artistic"])):
        cls.seats.filter(seat=seat).update(parts=parts)
    entry = cls.entries.get()
    mark_sheet(entry, "C", marks={"1": 80})
    mark_sheet(entry, "B", marks={"1": 60})
    mark_sheet(entry, "E", marks={"2": 40})
    cls.refresh_from_db()
    (line,) = difference_table(cls, ()).rides
    assert [(spread.parts, spread.gap, spread.beyond) for spread in line.spreads] == [("technical", "20", True)]
    assert [figure.end for figure in line.figures] == ["highest", "lowest", ""]


def test_totals_and_signatures_stand_with_the_seat(desk, cls):
    one = cls.entries.get(number="1")
    mark_sheet(one, "C", mark=65, typed_total="51", signed=True)
    mark_sheet(one, "B", mark=65)
    said = text(page_of(desk, cls))
    assert "65.000 ! total differs 65.000 ! not signed" in said
    assert "To be decided (2)" in said


def test_one_finding_is_decided_with_a_reason_and_stays_listed(desk, ridden):
    response = decide(desk, ridden, "percentages/1")
    assert response.status_code == 302
    said = text(page_of(desk, ridden))
    assert "Number 1, seats apart: it stands. 4 findings are left." in said
    assert "To be decided (4)" in said
    decided = said.split("Decided (1)")[1]
    assert f"{WHY} Ottilie Brandmair, " in decided
    assert CheckDecision.objects.get().reason == WHY


def test_a_decision_needs_a_reason_and_what_was_typed_stays(desk, ridden):
    response = decide(desk, ridden, "percentages/1", reason="  ")
    assert response.status_code == 422
    assert "Say why the finding may stand." in response.content.decode()
    long = "why " * 100
    response = decide(desk, ridden, "percentages/1", reason=long)
    assert response.status_code == 422
    assert "Use at most 300 characters." in response.content.decode()
    assert f'value="{long}"' in response.content.decode()
    assert not CheckDecision.objects.exists()


def test_a_finding_that_changed_meanwhile_is_shown_again_with_what_it_says_now(desk, ridden):
    before = finding(ridden, "percentages/1").figures
    mark_sheet(ridden.entries.get(number="1"), "C", mark=90, signed=True)
    response = decide(desk, ridden, "percentages/1", figures=before)
    assert response.status_code == 409
    page = response.content.decode()
    assert "The finding has changed since you looked at it." in page
    assert "C gives 90.000 %" in page
    assert f'value="{WHY}"' in page
    assert not CheckDecision.objects.exists()


def test_a_finding_that_two_decide_at_once_keeps_the_first_decision(desk, second_desk, ridden):
    decide(desk, ridden, "percentages/1")
    response = decide(second_desk, ridden, "percentages/1", reason="It looked right from here.")
    assert response.status_code == 409
    page = response.content.decode()
    assert f"Ottilie Brandmair has decided on this meanwhile: {WHY}" in page
    assert "You had written: <q>It looked right from here.</q>" in page
    assert CheckDecision.objects.count() == 1


def test_a_finding_that_is_gone_is_said_to_be_gone(desk, ridden):
    mark_sheet(ridden.entries.get(number="1"), "B", mark=70, signed=True)
    response = decide(desk, ridden, "percentages/1", figures="C 70.000, B 53.750")
    assert response.status_code == 422
    assert "There is no such finding in class 1 any more." in response.content.decode()


def test_all_are_decided_at_once_only_as_they_were_shown(desk, ridden):
    seen = desk.get(url_of(ridden)).context["seen"]
    mark_sheet(ridden.entries.get(number="3"), "B", mark=60, signed=True)
    response = desk.post(url_of(ridden), {"do": "all", "seen": seen, "reason": WHY})
    assert response.status_code == 409
    assert "The findings have changed since you looked at them." in response.content.decode()
    assert f'value="{WHY}"' in response.content.decode()
    assert not CheckDecision.objects.exists()
    seen = response.context["seen"]
    assert desk.post(url_of(ridden), {"do": "all", "seen": seen, "reason": WHY}).status_code == 302
    assert "To be decided (0)" in text(page_of(desk, ridden))
    assert desk.post(url_of(ridden), {"do": "all", "seen": "", "reason": WHY}).status_code == 409


def test_a_decision_on_other_figures_is_listed_as_one_that_holds_no_longer(desk, ridden):
    decide(desk, ridden, "percentages/1")
    decide(desk, ridden, "marks/2/3")
    mark_sheet(ridden.entries.get(number="1"), "C", mark=90, signed=True)
    mark_sheet(ridden.entries.get(number="2"), "B", mark=65, signed=True)
    assert [row.key for row in lapsed_decisions(ridden, findings_of(ridden))] == ["marks/2/3", "percentages/1"]
    said = text(page_of(desk, ridden))
    assert "It said something else when it was decided on." in said
    past = said.split("Decisions that hold no longer (2)")[1]
    assert "Number 1, seats apart: C 70.000, B 53.750" in past
    assert "Number 2, marks apart, item 3: C 6.5, B 4" in past


def test_official_results_are_not_decided_on(desk, cls):
    for entry in cls.entries.all():
        mark_sheet(entry, "C", mark=70, signed=True)
        mark_sheet(entry, "B", mark=60, signed=True)
    cls.refresh_from_db()
    figures = finding(cls, "percentages/1").figures
    make_official(cls, by=None, findings_reason="looked at")
    page = page_of(desk, cls)
    assert "The results are official, so nothing is decided here now." in page
    assert "Let it stand" not in page
    response = decide(desk, cls, "percentages/1", figures=figures)
    assert response.status_code == 409
    assert "Start a correction with a reason" in response.content.decode()


def test_what_a_judge_or_rider_typed_is_shown_as_text(desk, ridden):
    decide(desk, ridden, "percentages/1", reason='<b>bold</b> & "quoted"')
    page = page_of(desk, ridden)
    assert "&lt;b&gt;bold&lt;/b&gt; &amp;" in page
    assert "<b>bold" not in page


def test_characters_that_no_database_holds_are_left_out(desk, ridden):
    decide(desk, ridden, "percentages/1", reason="well\x00 looked at")
    assert CheckDecision.objects.get().reason == "well looked at"
    assert desk.get("/desk/linden-autumn/1%00/office/differences/").status_code == 404


def test_queries_do_not_grow_with_the_rides(desk, ridden, django_assert_num_queries, django_assert_max_num_queries):
    big = make_class(ridden.competition, number="2", seats="CB", entries=10)
    for entry in big.entries.all():
        mark_sheet(entry, "C", mark=80)
        mark_sheet(entry, "B", mark=50)
    few, many = url_of(ridden), url_of(big)
    with django_assert_max_num_queries(20) as small:
        desk.get(few)
    with django_assert_num_queries(len(small)):
        desk.get(many)
