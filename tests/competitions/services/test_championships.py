from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser

import scoring
from competitions.models import Championship, ChampionshipChange, CompetitionClass, Judge
from competitions.policy import can, visible
from competitions.selectors.championships import (
    championship_document,
    championship_etag,
    championship_for,
    championships_of,
)
from competitions.services.championships import create_championship, delete_championship, update_championship
from competitions.services.entries import add_entry, set_outcome
from competitions.services.results import make_official, start_correction, withdraw_results
from competitions.services.team_rules import set_team_rules
from riders.errors import Conflict, InvalidInput
from tests.builders import make_class, make_competition, make_pair, make_rule_set, make_user, mark_sheet

pytestmark = pytest.mark.django_db

MEAN = {"method": "mean", "decimals": 3, "ties": [{"by": "total", "class": 2}]}


def ridden(competition, number, marks, *, first=1, **fields):
    """Make a class whose entries carry numbers of their own: ``first`` and up, for pairs 1 and up."""
    found = make_class(competition, number=number, **fields)
    for pair, mark in enumerate(marks, start=1):
        entry = add_entry(found, number=str(first + pair - 1), pair=make_pair(pair), by=None)
        if mark is not None:
            mark_sheet(entry, mark=mark)
    found.refresh_from_db()
    return found


def championship(*, rules=None, by=None, first=(60, 70, 65), second=(70, 60, 65)):
    competition = make_competition()
    classes = [ridden(competition, "1", first), ridden(competition, "2", second, first=11)]
    return create_championship(
        competition, slug="small-tour", title="Small tour", rules=rules or MEAN, classes=classes, by=by
    )


def places(view):
    return [(row.rider, row.placing, row.value) for row in view.rows]


def test_a_championship_places_pairs_over_the_classes_that_they_rode_under_other_numbers():
    view = championship_for(championship())
    assert places(view) == [("Rider 1", 1, "65.000"), ("Rider 3", 2, "65.000"), ("Rider 2", 3, "65.000")]
    top = view.rows[0]
    assert [(cell.number, cell.value, cell.counts) for cell in top.cells] == [
        ("1", "60.000", True),
        ("11", "70.000", True),
    ]
    assert top.pair_id == make_pair(1).pk
    assert top.working[:-1] == (
        "Class 1: number 1, 60.000 %",
        "Class 2: number 11, 70.000 %",
        "Mean: (60.000 + 70.000) / 2 = 65.000 %",
        "Equal with Rider 2 with Horse 2 and Rider 3 with Horse 3 on 65.000 %.",
    )
    assert view.rows[0].working[-1] == (
        "Total of Class 2: 70, against 60 of Rider 2 with Horse 2 and 65 of Rider 3 with Horse 3; "
        "the higher is placed first."
    )
    assert view.description[0] == (
        "The mean of the total in Class 1 and Class 2 decides, to 3 decimals; an exact half is rounded up."
    )
    assert view.problem == ""
    assert view.document["rows"][0]["placing"] == 1


def test_it_is_provisional_until_every_class_is_official_and_says_so():
    found = championship()
    first, second = CompetitionClass.objects.order_by("number")
    assert championship_for(found).state == "provisional"
    make_official(first, by=None)
    view = championship_for(found)
    assert (view.state, [column.official for column in view.columns]) == ("provisional", [True, False])
    make_official(second, by=None)
    view = championship_for(found)
    assert (view.state, [column.revision for column in view.columns]) == ("official", [1, 1])


def test_official_results_stand_while_a_correction_is_under_way_and_go_when_they_are_withdrawn():
    found = championship()
    for competition_class in CompetitionClass.objects.all():
        make_official(competition_class, by=None)
    first = CompetitionClass.objects.get(number="1")
    start_correction(first, by=None, reason="mark read wrongly")
    mark_sheet(first.entries.get(number="1"), mark=100)
    view = championship_for(found)
    assert (view.state, view.rows[0].cells[0].value) == ("official", "60.000")
    first.refresh_from_db()
    make_official(first, by=None)
    view = championship_for(found)
    assert (view.columns[0].revision, view.rows[0].cells[0].value) == (2, "100.000")
    first.refresh_from_db()
    withdraw_results(first, by=None, reason="wrong test ridden")
    assert championship_for(found).state == "provisional"


def test_a_ride_without_a_total_is_listed_without_a_place_and_one_not_ridden_yet_waits():
    found = championship(second=(70, 60, None))
    entry = CompetitionClass.objects.get(number="2").entries.get(number="11")
    set_outcome(entry, expected_version=None, by=None, status="eliminated", reason="lame")
    view = championship_for(found)
    assert places(view) == [("Rider 2", 1, "65.000"), ("Rider 3", None, None), ("Rider 1", None, None)]
    assert [row.reason for row in view.rows] == [None, "Class 2: not in this class.", "Class 2: eliminated."]


def test_riders_are_placed_by_their_better_horse():
    competition = make_competition()
    classes = [ridden(competition, "1", (60, 70, 65)), ridden(competition, "2", (70, 60, 65))]
    second_horse = make_pair(2)
    second_horse.rider = make_pair(1).rider
    second_horse.save()
    found = create_championship(
        competition, slug="riders", title="Riders", rules=MEAN | {"unit": "rider"}, classes=classes, by=None
    )
    view = championship_for(found)
    assert [(row.name, row.value, row.horse, row.pair_id) for row in view.rows] == [
        ("Rider 1", "70.000", "", None),
        ("Rider 3", "65.000", "", None),
    ]
    assert [cell.number for cell in view.rows[0].cells] == ["2", "1"]


def test_hidden_rides_hors_concours_are_in_no_list_and_in_no_document():
    competition = make_competition()
    rules = make_rule_set(id="hidden", hors_concours="hidden")
    classes = [ridden(competition, n, (60, 70), rule_set=rules) for n in "12"]
    for found in classes:
        set_outcome(found.entries.get(number="2"), expected_version=None, by=None, hors_concours=True)
    found = create_championship(competition, slug="c", title="C", rules=MEAN, classes=classes, by=None)
    assert places(championship_for(found)) == [("Rider 1", 1, "60.000")]
    assert "Rider 2" not in str(championship_document(found))


def test_teams_of_the_classes_and_of_the_units():
    rules = {"method": "mean", "decimals": 3, "teams": {"from": "classes", "method": "sum"}}
    found = championship(rules=rules)
    for competition_class in CompetitionClass.objects.all():
        competition_class.entries.update(team="Green")
        set_team_rules(competition_class, {"counting": 2, "method": "sum"}, by=None)
    view = championship_for(found)
    assert [(team.team, team.value, team.members) for team in view.teams] == [("Green", "270.000", ())]
    members = {make_pair(n).key: "Blue" for n in (1, 2)}
    update_championship(
        found,
        expected_version=1,
        by=None,
        rules={"method": "mean", "decimals": 3, "teams": {"from": "units", "method": "mean", "members": members}},
    )
    found.refresh_from_db()
    (team,) = championship_for(found).teams
    assert (team.team, team.value) == ("Blue", "65.000")
    assert team.members == ("Rider 1 with Horse 1", "Rider 2 with Horse 2")


def test_classes_without_the_figure_that_counts_are_a_problem_in_words():
    view = championship_for(championship(rules={"method": "total", "of": "penalty", "decimals": 1}))
    assert view.rows == ()
    assert 'Entry "1" has no penalty, which is what counts.' in view.problem


def test_before_the_first_ride_there_is_nothing_and_nothing_breaks():
    view = championship_for(championship(first=(), second=()))
    assert (view.rows, view.problem, view.state) == ((), "", "provisional")


def test_the_document_recomputes_to_the_same_without_us():
    found = championship()
    document = championship_document(found)
    recomputed = scoring.compute_championship(scoring.read_championship(document)).as_document()
    assert recomputed == championship_for(found).document
    assert document["id"] == "linden-autumn/small-tour"


def test_the_tag_follows_the_rule_and_each_class():
    found = championship()
    before = championship_etag(found)
    assert championship_for(found).etag == before
    mark_sheet(CompetitionClass.objects.get(number="2").entries.get(number="11"), mark=55)
    after = championship_etag(found)
    assert after != before
    changed = update_championship(found, expected_version=1, by=None, title="Small tour 2026")
    assert championship_etag(changed) not in {before, after}


def test_every_change_is_kept_with_who_and_why_and_outlives_the_championship():
    office = make_user("office")
    found = championship(by=office)
    changed = update_championship(
        found, expected_version=1, by=office, rules=MEAN | {"decimals": 2}, reason="as in the schedule"
    )
    assert changed.version == 2
    same = update_championship(changed, expected_version=2, by=office, title="Small tour")
    assert same.version == 2
    delete_championship(changed, expected_version=2, by=office, reason="not held")
    assert not Championship.objects.exists()
    rows = [(row.action, row.by, row.reason) for row in ChampionshipChange.objects.all()]
    assert rows == [("set up", office, ""), ("changed", office, "as in the schedule"), ("deleted", office, "not held")]
    change = ChampionshipChange.objects.get(action="changed")
    assert (change.before["document"]["decimals"], change.after["document"]["decimals"]) == (3, 2)
    assert change.after["classes"] == ["1", "2"]


def test_the_classes_can_be_put_in_another_order():
    found = championship()
    first, second = CompetitionClass.objects.order_by("number")
    changed = update_championship(found, expected_version=1, by=None, classes=[second, first])
    assert [column.number for column in championship_for(changed).columns] == ["2", "1"]
    # The tie step looks at the second class, which is now the other one.
    assert championship_for(changed).rows[0].rider == "Rider 2"
    assert list(championships_of(changed.competition)) == [changed]


def test_two_people_at_once_are_told_apart():
    found = championship()
    update_championship(found, expected_version=1, by=None, title="Another")
    with pytest.raises(Conflict) as refused:
        update_championship(found, expected_version=1, by=None, title="A third")
    assert refused.value.current.title == "Another"
    with pytest.raises(Conflict):
        delete_championship(found, expected_version=1, by=None)
    delete_championship(found, expected_version=2, by=None)
    with pytest.raises(Conflict, match="deleted"):
        update_championship(found, expected_version=2, by=None, title="A fourth")


def test_what_is_wrong_is_listed_all_at_once():
    found = championship()
    elsewhere = make_class(make_competition("elsewhere"), number="9")
    first = CompetitionClass.objects.get(number="1", competition=found.competition)
    with pytest.raises(InvalidInput) as refused:
        create_championship(
            found.competition,
            slug="small-tour",
            title="",
            rules={"method": "best", "decimals": 3, "counting": 9, "classes": []},
            classes=[first, first, elsewhere],
            by=None,
        )
    assert {where for where, _ in refused.value.problems} == {
        "slug",
        "title",
        "classes[1]",
        "classes[2]",
        "rules.method",
        "rules.counting",
        "rules.classes",
    }
    with pytest.raises(InvalidInput) as refused:
        update_championship(found, expected_version=1, by=None, classes=[first])
    assert [where for where, _ in refused.value.problems] == ["classes", "rules.ties[0].class"]
    assert Championship.objects.count() == 1


def test_reading_a_championship_costs_the_same_queries_for_few_and_for_many(django_assert_num_queries):
    for count, slug in ((1, "one-pair"), (6, "six-pairs")):
        competition = make_competition(slug)
        classes = [ridden(competition, number, (65,) * count) for number in "12"]
        made = create_championship(competition, slug=slug, title=slug, rules=MEAN, classes=classes, by=None)
        found = Championship.objects.select_related("competition").get(pk=made.pk)
        with django_assert_num_queries(5):
            assert len(championship_for(found).rows) == count


def test_a_championship_is_seen_like_its_competition_and_run_by_its_office():
    office, visitor, judge = make_user("office"), make_user("visitor"), make_user("judge")
    competition = make_competition(office=office, state="planned")
    seat = Judge.objects.create(name="Doris Fell", user=judge)
    classes = [make_class(competition, number=n, judges={"C": seat}) for n in "12"]
    found = create_championship(competition, slug="c", title="C", rules=MEAN, classes=classes, by=office)
    everything = Championship.objects.all()
    assert [user.username for user in (office, visitor, judge) if found in visible(user, everything)] == [
        "office",
        "judge",
    ]
    assert visible(judge, everything).count() == 1
    assert found not in visible(AnonymousUser(), everything)
    assert [can(user, "run", found) for user in (office, visitor, judge)] == [True, False, False]
    competition.state = "published"
    competition.save()
    assert all(can(user, "view", found) for user in (visitor, AnonymousUser()))
