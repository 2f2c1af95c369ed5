from __future__ import annotations

import pytest

from competitions.models import ClassChange
from competitions.selectors.board import board_for
from competitions.selectors.documents import class_document
from competitions.services.entries import set_outcome
from competitions.services.results import cancel_correction, make_official, start_correction
from competitions.services.team_rules import set_team_rules
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import make_class, make_user, mark_sheet

pytestmark = pytest.mark.django_db

BEST_TWO = {"counting": 2, "method": "sum", "of": "percentage", "drop_out": None}


def team_class():
    found = make_class(entries=5)
    found.entries.filter(number__in=["1", "2", "3"]).update(team="Green")
    found.entries.filter(number__in=["4", "5"]).update(team="Blue")
    for number, mark in (("1", 60), ("2", 65), ("3", 70), ("4", 65), ("5", 65)):
        mark_sheet(found.entries.get(number=number), mark=mark)
    found.refresh_from_db()
    return found


def test_a_class_with_a_rule_for_teams_lists_them_by_the_best_scores():
    found = team_class()
    assert "teams" not in class_document(found)
    office = make_user("office")
    current = set_team_rules(found, BEST_TWO, expected_version=found.version, by=office, reason="as in the schedule")
    assert current.version == found.version + 1
    assert class_document(current)["teams"] == BEST_TWO
    rows = [(row.team, row.placing, row.value, row.counting) for row in board_for(current).teams]
    assert rows == [("Green", 1, "135.000", ("3", "2")), ("Blue", 2, "130.000", ("4", "5"))]
    change = ClassChange.objects.latest("pk")
    assert (change.action, change.by, change.reason) == ("teams changed", office, "as in the schedule")
    assert (change.before, change.after) == ({"teams": None}, {"teams": BEST_TWO})


def test_the_rule_can_be_taken_away_and_the_same_again_changes_nothing():
    found = set_team_rules(team_class(), BEST_TWO, by=None)
    assert set_team_rules(found, dict(BEST_TWO), by=None).version == found.version
    assert board_for(set_team_rules(found, None, by=None)).teams == ()


def test_a_member_without_a_total_counts_the_drop_out():
    found = set_team_rules(team_class(), BEST_TWO | {"drop_out": "25"}, by=None)
    set_outcome(found.entries.get(number="4"), expected_version=None, by=None, status="eliminated", reason="lame")
    found.refresh_from_db()
    assert [(row.team, row.value) for row in board_for(found).teams] == [("Green", "135.000"), ("Blue", "90.000")]


def test_a_rule_that_cannot_be_used_is_refused_with_every_problem():
    found = team_class()
    with pytest.raises(InvalidInput) as refused:
        set_team_rules(found, {"counting": 0, "method": "best", "of": "penalty", "best": 1}, by=None)
    assert [where for where, _ in refused.value.problems] == [
        "teams.counting",
        "teams.method",
        "teams.of",
        "teams.best",
    ]
    found.refresh_from_db()
    assert found.team_rules is None


def test_two_people_at_once_are_told_apart_and_official_results_are_left_alone():
    found = team_class()
    with pytest.raises(Conflict):
        set_team_rules(found, BEST_TWO, expected_version=found.version - 1, by=None)
    make_official(found, by=None)
    with pytest.raises(NotAllowed, match="Start a correction"):
        set_team_rules(found, BEST_TWO, by=None)
    start_correction(found, by=None, reason="teams were forgotten")
    set_team_rules(found, BEST_TWO, by=None)
    with pytest.raises(NotAllowed, match="changed since"):
        cancel_correction(found, by=None)
    published = make_official(found, by=None)
    assert [row["team"] for row in published.document["teams"]] == ["Green", "Blue"]
    assert published.class_document["teams"] == BEST_TWO
