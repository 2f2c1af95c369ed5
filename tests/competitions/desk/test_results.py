"""The class desk, the checks, official results, corrections and their history."""

from __future__ import annotations

import pytest
from django.urls import reverse

from competitions.models import CompetitionClass
from competitions.services.entries import set_outcome
from riders.models import Score
from tests.builders import make_class, mark_sheet

pytestmark = pytest.mark.django_db


def address(name: str, cls, *more: str) -> str:
    return reverse(name, args=[cls.competition.slug, cls.number, *more])


@pytest.fixture
def ridden(cls):
    """All three have ridden: 1 with 70 %, 2 with 65 %, 3 with 60 %; every sheet is signed."""
    for number, mark in (("1", 70), ("2", 65), ("3", 60)):
        for seat in "CB":
            mark_sheet(cls.entries.get(number=number), seat, mark=mark, signed=True)
    cls.refresh_from_db()
    return cls


def decide_all(desk, cls, reason="looked at") -> None:
    page = desk.get(address("desk-differences", cls))
    assert (
        desk.post(
            address("desk-differences", cls), {"do": "all", "seen": page.context["seen"], "reason": reason}
        ).status_code
        == 302
    )


def official(desk, cls, **fields: str):
    cls.refresh_from_db()
    return desk.post(address("desk-official", cls), {"version": str(cls.version)} | fields)


def test_the_class_desk_shows_each_seat_and_the_provisional_places(desk, cls):
    mark_sheet(cls.entries.get(number="1"), "C", mark=70, signed=True, typed_total="56")
    mark_sheet(cls.entries.get(number="1"), "B", mark=65, signed=True, typed_total="53")
    mark_sheet(cls.entries.get(number="2"), "C", mark=65)
    mark_sheet(cls.entries.get(number="2"), "B", marks={"1": 60})
    page = desk.get(address("desk-class", cls)).content.decode()
    assert "Sheet C of 1: complete, 70.000 per cent" in page
    assert "Sheet B of 1: total differs, 65.000 per cent" in page
    assert "Sheet C of 2: unsigned, 65.000 per cent" in page
    assert "Sheet B of 2: 5 gaps, 60.000 per cent" in page
    assert "Sheet C of 3: missing" in page
    assert "3 of 6 sheets in" in page
    assert "67.500" in page


def test_the_live_part_answers_304_until_something_is_saved(desk, cls, django_capture_on_commit_callbacks):
    url = address("desk-class-live", cls)
    first = desk.get(url)
    tag = first["ETag"]
    assert desk.get(url, headers={"If-None-Match": tag}).status_code == 304
    with django_capture_on_commit_callbacks(execute=True):
        mark_sheet(cls.entries.get(number="1"), "C")
    second = desk.get(url, headers={"If-None-Match": tag})
    assert second.status_code == 200
    assert second["ETag"] != tag
    assert "65.000" in second.content.decode()


def test_queries_of_the_class_desk_do_not_grow_with_its_entries(
    desk, competition, cls, django_assert_max_num_queries, django_assert_num_queries
):
    big = make_class(competition, number="2", seats="CB", entries=12)
    for entry in big.entries.all():
        mark_sheet(entry, "C")
    with django_assert_max_num_queries(25) as small:
        desk.get(address("desk-class", cls))
    with django_assert_num_queries(len(small)):
        desk.get(address("desk-class", big))


def test_who_is_in_the_ring_goes_forward_and_back(desk, cls):
    ring = address("desk-ring", cls)
    page = desk.get(address("desk-class", cls)).content.decode()
    assert "Next: 1 Rider 1" in page
    desk.post(ring, {"entry": "1"})
    page = desk.get(address("desk-class", cls)).content.decode()
    assert "Next: 2 Rider 2" in page
    assert "in the ring</span>" in page
    desk.post(ring, {"entry": "2"})
    assert "Back to 1" in desk.get(address("desk-class", cls)).content.decode()
    desk.post(ring, {"entry": ""})
    cls.refresh_from_db()
    assert cls.in_ring is None
    assert "No entry 99 rides in this class" in desk.post(ring, {"entry": "99"}, follow=True).content.decode()


def test_a_withdrawn_entry_is_not_called_in(desk, cls):
    set_outcome(cls.entries.get(number="2"), expected_version=None, by=None, status="withdrawn")
    desk.post(address("desk-ring", cls), {"entry": "1"})
    assert "Next: 3 Rider 3" in desk.get(address("desk-class", cls)).content.decode()
    page = desk.post(address("desk-ring", cls), {"entry": "2"}, follow=True).content.decode()
    assert "Entry 2 is withdrawn and cannot be in the ring." in page


def test_checks_name_gaps_outcomes_signatures_and_totals(desk, cls):
    mark_sheet(cls.entries.get(number="1"), "C", typed_total="51", signed=True)
    mark_sheet(cls.entries.get(number="1"), "B")
    mark_sheet(cls.entries.get(number="2"), "C")
    page = desk.get(address("desk-official", cls)).content.decode()
    assert "Sheet C: the paper says 51, our marks add up to 52: the paper has 1 point less." in page
    assert "Number 1, Rider 1 with Horse 1. Sheet B is not signed." in page
    assert "Number 2, Rider 2 with Horse 2, lacks the sheet of B." in page
    assert "Number 3, Rider 3 with Horse 3, has no outcome." in page
    assert "disabled" in page
    assert official(desk, cls, looked="yes").status_code == 422
    cls.refresh_from_db()
    assert cls.results_state == CompetitionClass.ResultsState.PROVISIONAL


def test_what_is_to_be_looked_at_has_to_be_confirmed(desk, ridden):
    set_outcome(ridden.entries.get(number="1"), expected_version=None, by=None, status="eliminated")
    response = official(desk, ridden)
    assert response.status_code == 422
    page = response.content.decode()
    assert "Tick that you have looked at them" in page
    assert "is eliminated without a reason" in page
    assert official(desk, ridden, looked="yes").status_code == 302
    ridden.refresh_from_db()
    assert ridden.results_state == CompetitionClass.ResultsState.OFFICIAL


def test_no_tick_makes_results_official_while_a_difference_waits_for_its_decision(desk, ridden):
    mark_sheet(ridden.entries.get(number="1"), "C", mark=70, signed=False)
    page = desk.get(address("desk-official", ridden)).content.decode()
    assert address("desk-differences", ridden) in page
    response = official(desk, ridden, looked="yes", why="all well")
    assert response.status_code == 422
    assert "1 finding has not been looked at" in response.content.decode()
    ridden.refresh_from_db()
    assert ridden.results_state == CompetitionClass.ResultsState.PROVISIONAL
    decide_all(desk, ridden)
    assert official(desk, ridden).status_code == 302


def test_signatures_are_asked_for_only_where_the_competition_says_so(desk, cls, competition):
    competition.sheets_signed = False
    competition.save()
    mark_sheet(cls.entries.get(number="1"), "C")
    assert "Sheet C of 1: complete" in desk.get(address("desk-class", cls)).content.decode()
    assert "not signed" not in desk.get(address("desk-official", cls)).content.decode()


def test_a_class_that_changed_meanwhile_is_looked_at_again(desk, ridden):
    version = ridden.version
    mark_sheet(ridden.entries.get(number="1"), "C", mark=75, signed=True)
    response = desk.post(address("desk-official", ridden), {"version": str(version)})
    assert response.status_code == 409
    assert "The class has changed since this page was shown." in response.content.decode()


def test_official_correction_and_withdrawal_leave_a_readable_history(desk, ridden):
    assert official(desk, ridden).status_code == 302
    assert Score.objects.filter(retracted_at__isnull=True).count() == 3
    page = desk.post(address("desk-correction", ridden), {"reason": " "}).content.decode()
    assert "A correction of official results needs a reason." in page
    desk.post(address("desk-correction", ridden), {"reason": "movement 2 at C was keyed wrongly"})
    mark_sheet(ridden.entries.get(number="3"), "C", mark=90, signed=True)
    check = desk.get(address("desk-official", ridden)).content.decode()
    assert "Against the official revision 1" in check
    assert "placing 3, 60.000 %" in check
    assert "75.000" in check.split("Results as they stand")[1]  # those of the correction, not those posted
    assert official(desk, ridden).status_code == 422  # C and B are far apart now
    decide_all(desk, ridden)
    assert official(desk, ridden).status_code == 302
    history = desk.get(address("desk-results-history", ridden)).content.decode()
    assert "Revision 2" in history
    assert "movement 2 at C was keyed wrongly" in history
    assert "placing 1, 75.000 %" in history
    assert "placing 2, 70.000 %" in history
    refused = desk.post(address("desk-withdraw", ridden), {"reason": ""})
    assert refused.status_code == 422
    desk.post(address("desk-withdraw", ridden), {"reason": "the arena was too short"})
    ridden.refresh_from_db()
    assert ridden.results_state == CompetitionClass.ResultsState.WITHDRAWN
    assert not Score.objects.filter(retracted_at__isnull=True).exists()
    history = desk.get(address("desk-results-history", ridden)).content.decode()
    assert "the arena was too short" in history


def test_a_correction_that_changed_nothing_is_closed_and_one_that_did_is_not(desk, ridden):
    official(desk, ridden)
    desk.post(address("desk-correction", ridden), {"reason": "a question of number 2"})
    desk.post(address("desk-correction", ridden), {"do": "cancel"})
    ridden.refresh_from_db()
    assert not ridden.open_for_changes
    desk.post(address("desk-correction", ridden), {"reason": "a question of number 2"})
    mark_sheet(ridden.entries.get(number="2"), "C", mark=80, signed=True)
    page = desk.post(address("desk-correction", ridden), {"do": "cancel"}).content.decode()
    assert "Marks or outcomes have been changed since" in page


@pytest.mark.parametrize("name", ["desk-correction", "desk-withdraw"])
def test_results_that_are_not_official_are_neither_corrected_nor_withdrawn(desk, ridden, name):
    response = desk.post(address(name, ridden), {"reason": "too early"})
    page = response.content.decode()
    assert response.status_code == 422
    assert "are provisional" in page


def test_an_official_class_says_how_it_can_be_changed(desk, ridden):
    official(desk, ridden)
    for name in ("desk-class", "desk-official"):
        assert "official" in desk.get(address(name, ridden)).content.decode()
    page = desk.get(address("desk-entry", ridden, "1")).content.decode()
    assert "start a correction" in page


def test_an_empty_class_is_not_made_official(desk, competition, cls):
    empty = make_class(competition, number="2")
    page = desk.get(address("desk-official", empty)).content.decode()
    assert "The class has no entries" in page
    assert official(desk, empty).status_code == 422
