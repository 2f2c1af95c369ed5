from __future__ import annotations

import pytest

from competitions.models import PublishedResults
from competitions.selectors.board import board_for
from competitions.services.entries import set_outcome
from competitions.services.results import (
    cancel_correction,
    make_official,
    start_correction,
    withdraw_results,
)
from riders.errors import InvalidInput, NotAllowed
from riders.models import Score, ScoreChange
from tests.builders import make_class, make_rule_set, make_season, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def marked_class(*marks: int, seats: str = "C"):
    competition_class = make_class(seats=seats, entries=len(marks))
    for entry, mark in zip(competition_class.entries.order_by("number"), marks, strict=True):
        for seat in seats:
            mark_sheet(entry, seat, mark=mark)
    competition_class.refresh_from_db()
    return competition_class


def test_places_follow_the_marks_and_every_saving_moves_the_clock():
    competition_class = marked_class(60, 70, 65)
    board = board_for(competition_class)
    assert [(row.number, row.placing, row.total) for row in board.rows] == [
        ("2", 1, "70.000"),
        ("3", 2, "65.000"),
        ("1", 3, "60.000"),
    ]
    before = competition_class.version
    mark_sheet(competition_class.entries.get(number="1"), mark=80)
    competition_class.refresh_from_db()
    assert competition_class.version == before + 1
    assert board_for(competition_class).rows[0].number == "1"


def test_official_results_are_frozen_and_post_one_score_a_ride():
    office = make_user("office")
    competition_class = marked_class(60, 70, seats="CB")
    published = make_official(competition_class, by=office)
    assert (published.revision, competition_class.results_state) == (1, "official")
    scores = list(Score.objects.order_by("key"))
    assert [(s.key, s.percentage, s.placing, s.starters, s.status) for s in scores] == [
        ("linden-autumn/1/1", "60.000", 2, 2, "completed"),
        ("linden-autumn/1/2", "70.000", 1, 2, "completed"),
    ]
    assert scores[0].judges == ["C", "B"]
    assert ScoreChange.objects.filter(action="posted", by=office).count() == 2
    with pytest.raises(NotAllowed, match="official already"):
        make_official(competition_class, by=office)


def test_an_entry_without_an_outcome_holds_official_results_back_by_name():
    competition_class = make_class(entries=2)
    mark_sheet(competition_class.entries.get(number="1"))
    with pytest.raises(InvalidInput) as refused:
        make_official(competition_class, by=None)
    assert refused.value.problems == [
        ("entry 2", "Rider 2 with Horse 2 has not ridden. Key the sheets, or set withdrawn or no-show.")
    ]
    set_outcome(competition_class.entries.get(number="2"), expected_version=None, by=None, status="no-show")
    make_official(competition_class, by=None)


def test_a_class_without_entries_has_no_results():
    with pytest.raises(InvalidInput, match="cannot become official"):
        make_official(make_class(), by=None)


def test_a_correction_is_a_new_revision_and_the_old_one_stays_readable():
    competition_class = marked_class(60, 70)
    make_official(competition_class, by=None)
    start_correction(competition_class, by=None, reason="Sheet of number 1 was added wrongly")
    mark_sheet(competition_class.entries.get(number="1"), mark=75)
    competition_class.refresh_from_db()
    assert [row.number for row in board_for(competition_class).rows] == ["2", "1"], "posted results stand meanwhile"
    make_official(competition_class, by=None)
    assert [row.number for row in board_for(competition_class).rows] == ["1", "2"]
    first = PublishedResults.objects.get(revision=1)
    second = PublishedResults.objects.get(revision=2)
    assert first.document["entries"][0]["number"] == "2"
    assert second.reason == "Sheet of number 1 was added wrongly"
    score = Score.objects.get(key="linden-autumn/1/1")
    assert (score.percentage, score.placing) == ("75.000", 1)
    assert [change.action for change in score.changes.all()] == ["posted", "corrected"]
    assert score.changes.last().before["percentage"] == "60.000"


def test_a_correction_needs_a_reason_and_official_results():
    competition_class = marked_class(60)
    with pytest.raises(NotAllowed, match="change them without a correction"):
        start_correction(competition_class, by=None, reason="x")
    make_official(competition_class, by=None)
    with pytest.raises(InvalidInput, match="needs a reason"):
        start_correction(competition_class, by=None, reason="  ")
    with pytest.raises(InvalidInput, match="301 characters"):
        start_correction(competition_class, by=None, reason="x" * 301)


def test_a_correction_that_changed_nothing_can_be_cancelled_and_another_cannot():
    competition_class = marked_class(60)
    make_official(competition_class, by=None)
    start_correction(competition_class, by=None, reason="To be looked at")
    cancel_correction(competition_class, by=None)
    assert not competition_class.open_for_changes
    start_correction(competition_class, by=None, reason="Again")
    mark_sheet(competition_class.entries.get(), mark=65)
    with pytest.raises(NotAllowed, match="have been changed since"):
        cancel_correction(competition_class, by=None)


def test_withdrawn_results_leave_the_ledger_and_come_back_when_official_again():
    competition_class = marked_class(60)
    season = make_season()
    make_official(competition_class, by=None)
    season.refresh_from_db()
    assert season.rows.get().value == "60.000"
    withdraw_results(competition_class, by=None, reason="Ridden from the wrong test")
    score = Score.objects.get()
    assert score.retracted_at is not None
    assert not season.rows.exists()
    assert PublishedResults.objects.get().withdrawn_reason == "Ridden from the wrong test"
    make_official(competition_class, by=None)
    score.refresh_from_db()
    assert score.retracted_at is None
    assert [change.action for change in score.changes.all()] == ["posted", "retracted", "corrected"]
    with pytest.raises(InvalidInput, match="needs a reason"):
        withdraw_results(competition_class, by=None, reason="")


def test_the_history_of_a_class_names_who_and_why():
    office = make_user("office")
    competition_class = marked_class(60)
    make_official(competition_class, by=office)
    start_correction(competition_class, by=office, reason="Misread")
    withdraw_results(competition_class, by=office, reason="Wrong test")
    actions = [(c.action, c.by, c.reason) for c in competition_class.changes.exclude(action="set up")]
    assert actions == [
        ("made official", office, ""),
        ("correction started", office, "Misread"),
        ("withdrawn", office, "Wrong test"),
    ]


def test_an_elimination_by_errors_has_no_place_and_says_why():
    competition_class = marked_class(60, 70)
    entry = competition_class.entries.get(number="2")
    set_outcome(entry, expected_version=entry.version, by=None, errors=3)
    row = board_for(competition_class).rows[1]
    assert (row.number, row.status, row.placing, row.reason) == ("2", "eliminated", None, "errors of course")


def test_hidden_hors_concours_entries_are_left_off_the_board_but_not_off_the_desk():
    make_rule_set(hors_concours="hidden")
    competition_class = marked_class(60, 70)
    set_outcome(competition_class.entries.get(number="2"), expected_version=None, by=None, hors_concours=True)
    assert [row.number for row in board_for(competition_class).rows] == ["1"]
    assert [row.number for row in board_for(competition_class, everyone=True).rows] == ["1", "2"]
