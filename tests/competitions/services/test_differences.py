from __future__ import annotations

import pytest

from competitions.models import CheckDecision, CompetitionClass, PublishedResults
from competitions.services.classes import update_competition
from competitions.services.differences import (
    decide_all_findings,
    decide_finding,
    findings_of,
    undecided_findings,
)
from competitions.services.documents import save_test
from competitions.services.entries import set_outcome
from competitions.services.results import make_official, start_correction
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import make_class, make_competition, make_rule_set, make_test_document, make_user, mark_sheet

pytestmark = pytest.mark.django_db

ITEMS = ["1", "2", "3", "4", "G1", "G2"]


def two_seats(c: int = 65, b: int = 65, *, entries: int = 1, **fields):
    found = make_class(seats="CB", entries=entries, **fields)
    for entry in found.entries.all():
        mark_sheet(entry, "C", mark=c)
        mark_sheet(entry, "B", mark=b)
    found.refresh_from_db()
    return found


def limits(found, **fields):
    competition = found.competition
    competition.refresh_from_db()
    update_competition(competition, expected_version=competition.version, by=None, **fields)
    found.refresh_from_db()


def keys(found):
    return [finding.key for finding in findings_of(found)]


def test_seats_that_agree_and_sheets_without_a_signature_are_no_finding():
    assert findings_of(two_seats()) == ()


def test_seats_far_apart_are_a_finding_with_figures_and_a_sentence():
    (finding,) = findings_of(two_seats(70, 60))
    assert (finding.key, finding.kind, finding.number) == ("percentages/1", "percentages", "1")
    assert finding.figures == "C 70.000, B 60.000"
    assert finding.sentence == (
        "Number 1, Rider 1 with Horse 1. C gives 70.000 % and B 60.000 %: 10 percentage points apart, more than 5."
    )
    assert not finding.decided


@pytest.mark.parametrize(("limit", "found"), [("10", False), ("9.999", True), ("", False), ("0", True)])
def test_the_limit_itself_is_no_finding_and_an_empty_one_is_off(limit, found):
    competition_class = two_seats(70, 60)
    limits(competition_class, seat_limit=limit)
    assert bool(findings_of(competition_class)) is found


def test_marks_for_one_movement_far_apart_are_a_finding_for_each_movement():
    competition_class = two_seats()
    mark_sheet(competition_class.entries.get(), "B", marks={"2": 40, "G1": 45})
    found = findings_of(competition_class)
    by_kind = {finding.key: finding for finding in found}
    assert set(by_kind) == {"marks/1/2", "percentages/1"}
    assert by_kind["marks/1/2"].figures == "C 6.5, B 4"
    assert by_kind["marks/1/2"].item == "2"
    assert by_kind["marks/1/2"].sentence.endswith("Movement 2: C gives 6.5 and B 4, 2.5 marks apart, more than 2.")
    limits(competition_class, movement_limit="1.5")
    assert set(keys(competition_class)) == {"marks/1/2", "marks/1/G1", "percentages/1"}
    limits(competition_class, movement_limit="", seat_limit="")
    assert keys(competition_class) == []


def test_seats_that_mark_different_parts_are_not_compared():
    items = [
        {"id": "1", "text": "Trot", "part": "technical"},
        {"id": "2", "text": "Paces", "part": "quality"},
    ]
    test = save_test(make_test_document(id="linden-quality") | {"items": items, "kind": "quality"})
    rules = make_rule_set(id="half-and-half", parts={"technical": "1", "quality": "1"}, ties=[])
    found = make_class(seats="C", entries=1, test=test, rule_set=rules)
    found.seats.create(seat="B", order=1, parts=["quality"])
    found.seats.filter(seat="C").update(parts=["technical"])
    entry = found.entries.get()
    mark_sheet(entry, "C", marks={"1": 80})
    mark_sheet(entry, "B", marks={"2": 50})
    entry.refresh_from_db()
    assert entry.status == "completed"
    assert findings_of(found) == ()
    found.seats.create(seat="E", order=2, parts=["quality"])
    mark_sheet(entry, "E", marks={"2": 80})
    assert [(finding.key, finding.figures) for finding in findings_of(found)] == [
        ("percentages/1/quality", "B 50.000, E 80.000"),
        ("marks/1/2", "B 5, E 8"),
    ]


def test_marks_that_the_office_put_in_are_a_finding_of_the_sheet():
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), substitutes=["2", "G1"])
    (finding,) = findings_of(found)
    assert (finding.key, finding.seat) == ("substitutes/1/C", "C")
    assert finding.figures == "2 6.5, G1 6.5"
    assert "movement 2 (6.5), collective mark G1 (6.5)" in finding.sentence


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("52", None),
        ("52.0", None),
        ("65", None),
        ("65.000", None),
        ("", None),
        ("53.5", "the paper says 53.5, our marks add up to 52: the paper has 1.5 points more."),
        ("50,5", "the paper says 50.5, our marks add up to 52: the paper has 1.5 points less."),
        ("x", '"x" is not a total.'),
    ],
)
def test_a_typed_total_that_disagrees_is_a_finding(typed, says):
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), typed_total=typed)
    findings = findings_of(found)
    assert [finding.key for finding in findings] == (["total/1/C"] if says else [])
    assert all(says in finding.sentence for finding in findings)


def test_errors_of_course_come_off_before_the_typed_total_is_compared():
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), typed_total="50")
    set_outcome(found.entries.get(), expected_version=None, by=None, errors=1)
    assert findings_of(found) == ()


def test_a_sheet_of_which_only_the_percentage_is_known_is_compared_by_it():
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), marks={}, given_result={"percentage": "66.500"}, typed_total="66.5")
    assert findings_of(found) == ()
    mark_sheet(found.entries.get(), marks={}, typed_total="67.5")
    (finding,) = findings_of(found)
    assert finding.sentence.endswith("the paper says 67.5, the result given here is 66.500 %.")


def test_signatures_count_only_where_the_competition_asks_for_them():
    found = two_seats()
    limits(found, sheets_signed=True)
    assert keys(found) == ["unsigned/1/C", "unsigned/1/B"]
    for seat in "CB":
        mark_sheet(found.entries.get(), seat, signed=True)
    assert keys(found) == []


def test_only_completed_rides_are_looked_at():
    found = two_seats(70, 60)
    set_outcome(found.entries.get(), expected_version=None, by=None, status="eliminated", reason="lame")
    assert findings_of(found) == ()


def test_official_results_wait_for_every_finding_and_list_them():
    found = two_seats(70, 60, entries=2)
    with pytest.raises(InvalidInput) as refused:
        make_official(found, by=None)
    assert refused.value.code == "findings-undecided"
    assert [key for key, _ in refused.value.problems] == ["percentages/1", "percentages/2"]
    assert refused.value.message.startswith("Class 1 cannot become official yet: 2 findings have not been looked at.")
    assert not PublishedResults.objects.exists()
    office = make_user("office")
    decided = decide_finding(found, "percentages/1", reason="The judges agree on what they saw.", by=office)
    assert (decided.decision.reason, decided.decision.by) == ("The judges agree on what they saw.", str(office))
    with pytest.raises(InvalidInput) as refused:
        make_official(found, by=None)
    assert [key for key, _ in refused.value.problems] == ["percentages/2"]
    assert decide_all_findings(found, reason="compared with the paper", by=office) == 1
    make_official(found, by=office)
    assert CheckDecision.objects.filter(by=office).count() == 2


def test_a_finding_that_says_something_else_is_looked_at_again_and_one_that_says_the_same_is_not():
    found = two_seats(70, 60)
    decide_finding(found, "percentages/1", reason="seen", by=None, figures="C 70.000, B 60.000")
    mark_sheet(found.entries.get(), "B", mark=55)
    (finding,) = findings_of(found)
    assert (finding.decided, finding.changed) == (False, True)
    with pytest.raises(Conflict) as refused:
        decide_finding(found, "percentages/1", reason="seen", by=None, figures="C 70.000, B 60.000")
    assert refused.value.current == finding
    mark_sheet(found.entries.get(), "B", mark=60)
    assert findings_of(found)[0].decided
    assert CheckDecision.objects.count() == 1


def test_a_show_that_is_over_is_waved_through_in_one_call():
    found = two_seats(70, 60)
    make_official(found, by=None, findings_reason="imported; the paper was checked")
    assert [row.reason for row in CheckDecision.objects.all()] == ["imported; the paper was checked"]
    assert undecided_findings(found) == ()


def test_nothing_is_decided_when_official_results_are_refused_for_another_reason():
    found = make_class(seats="CB", entries=2)
    entry = found.entries.get(number="1")
    mark_sheet(entry, "C", mark=70)
    mark_sheet(entry, "B", mark=60)
    with pytest.raises(InvalidInput, match="no outcome"):
        make_official(found, by=None, findings_reason="checked")
    assert not CheckDecision.objects.exists()


@pytest.mark.parametrize("reason", ["", "   ", "x" * 301])
def test_a_decision_needs_a_reason(reason):
    found = two_seats(70, 60)
    with pytest.raises(InvalidInput) as refused:
        decide_finding(found, "percentages/1", reason=reason, by=None)
    assert [where for where, _ in refused.value.problems] == ["reason"]
    with pytest.raises(InvalidInput):
        decide_all_findings(found, reason=reason, by=None)


def test_what_is_not_there_or_is_official_cannot_be_decided_on():
    found = two_seats(70, 60)
    with pytest.raises(InvalidInput) as refused:
        decide_finding(found, "marks/1/99", reason="seen", by=None)
    assert refused.value.code == "no-such-finding"
    make_official(found, by=None, findings_reason="checked")
    with pytest.raises(NotAllowed):
        decide_finding(found, "percentages/1", reason="seen", by=None)
    start_correction(found, by=None, reason="wrong sheet")
    assert decide_finding(found, "percentages/1", reason="seen again", by=None).decision.reason == "seen again"


@pytest.mark.parametrize("limit", ["-1", "5,5", "five", "1e3", "5.1234"])
def test_a_limit_that_is_no_plain_number_is_refused(limit):
    found = two_seats()
    with pytest.raises(InvalidInput) as refused:
        limits(found, seat_limit=limit)
    assert refused.value.problems == [("seat_limit", "Give a limit such as 5 or 2.5, or leave it empty for none.")]


def test_the_table_costs_the_same_queries_for_one_ride_and_for_many(django_assert_num_queries):
    competition = make_competition()
    for entries, number in ((1, "1"), (6, "2")):
        two_seats(70, 60, entries=entries, number=number, competition=competition)
        found = CompetitionClass.objects.select_related("competition", "test").get(number=number)
        with django_assert_num_queries(5):
            assert len(findings_of(found)) == entries
