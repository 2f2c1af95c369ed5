from __future__ import annotations

from datetime import date, time

import pytest

from competitions.selectors.documents import class_document
from competitions.services.classes import create_class, judge_named, update_class, update_competition
from competitions.services.documents import save_rule_set, save_test
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import (
    make_class,
    make_competition,
    make_rule_set,
    make_test,
    make_test_document,
    make_user,
    mark_sheet,
    rules_document,
)

pytestmark = pytest.mark.django_db


def test_the_office_of_a_competition_is_who_set_it_up():
    office = make_user("office")
    assert make_competition(office=office).office_roles.get().user == office


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"ends_on": date(2026, 11, 13)}, "ends_on"),
        ({"time_zone": "Europe/Nowhere"}, "time_zone"),
        ({"title": ""}, "title"),
        ({"slug": "not a slug"}, "slug"),
    ],
)
def test_a_competition_with_nonsense_is_refused_by_field(fields, field):
    with pytest.raises(InvalidInput) as refused:
        make_competition(**fields)
    assert field in refused.value.fields


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"date": date(2026, 11, 20)}, "date"),
        ({"interval_seconds": 5}, "interval_seconds"),
        ({"breaks": [{"after": 0, "minutes": 5}]}, "breaks[0]"),
        ({"breaks": "later"}, "breaks"),
        ({"title": ""}, "title"),
    ],
)
def test_a_class_with_nonsense_is_refused_by_field(fields, field):
    with pytest.raises(InvalidInput) as refused:
        make_class(**fields)
    assert field in refused.value.fields


@pytest.mark.parametrize(
    ("panel", "field"),
    [
        ([], "panel"),
        ([{"seat": str(n)} for n in range(8)], "panel"),
        ([{"seat": "C"}, {"seat": "C"}], "panel[1].seat"),
        ([{"seat": ""}], "panel[0].seat"),
        ([{"seat": "C", "parts": ["artistic"]}], "panel[0].parts"),
    ],
)
def test_a_panel_with_nonsense_is_refused(panel, field):
    with pytest.raises(InvalidInput) as refused:
        create_class(
            make_competition(),
            by=None,
            panel=panel,
            number="1",
            title="Novice",
            date=date(2026, 11, 14),
            test=make_test(),
            rule_set=make_rule_set(),
        )
    assert field in refused.value.fields


def test_one_judge_has_one_seat():
    judge = judge_named("Judge Lind")
    with pytest.raises(InvalidInput, match="panel needs correcting"):
        make_class(seats="CB", judges={"C": judge, "B": judge})


def test_a_number_is_given_once_in_a_competition():
    competition_class = make_class()
    with pytest.raises(InvalidInput) as refused:
        make_class(competition_class.competition)
    assert "exists already" in refused.value.fields["number"][0]


def test_changes_are_noted_and_the_second_editor_is_told():
    competition_class = make_class(entries=1)
    version = competition_class.version
    update_class(competition_class, expected_version=version, by=None, starts_at=time(10, 0))
    with pytest.raises(Conflict):
        update_class(competition_class, expected_version=version, by=None, title="Other")
    change = competition_class.changes.get(action="changed")
    assert (change.before["starts_at"], change.after["starts_at"]) == ("09:00:00", "10:00:00")


def test_test_and_seats_stay_once_marks_are_given():
    competition_class = make_class(seats="CB", entries=1)
    mark_sheet(competition_class.entries.get(), "B")
    other = make_test(id="linden-novice-2")
    with pytest.raises(NotAllowed, match="test stays"):
        update_class(competition_class, expected_version=None, by=None, test=other)
    with pytest.raises(NotAllowed, match="Seat B has sheets"):
        update_class(competition_class, expected_version=None, by=None, panel=[{"seat": "C"}])
    update_class(competition_class, expected_version=None, by=None, panel=[{"seat": "E"}, {"seat": "B"}])
    assert [seat.seat for seat in competition_class.seats.all()] == ["E", "B"]


def test_a_new_time_zone_moves_the_ride_times():
    competition_class = make_class(entries=1)
    before = competition_class.entries.get().ride_time
    competition = competition_class.competition
    update_competition(competition, expected_version=competition.version, by=None, time_zone="Europe/Helsinki")
    assert (before - competition_class.entries.get().ride_time).total_seconds() == 3600


def test_documents_in_use_do_not_change_under_a_class():
    make_class()
    save_test(make_test_document())
    with pytest.raises(NotAllowed, match="another id"):
        save_test(make_test_document(title="Other"))
    with pytest.raises(NotAllowed, match="another id"):
        save_rule_set(rules_document(rounding="down"))
    with pytest.raises(InvalidInput) as refused:
        save_test({"format": "test/1", "id": "x", "colour": "red", "items": [{"id": "1"}, {"id": "1"}]})
    assert len(refused.value.problems) > 1


def test_a_document_that_no_class_uses_may_be_replaced():
    save_test(make_test_document())
    assert save_test(make_test_document(title="Better title")).title == "Better title"


def test_the_class_document_leaves_out_who_has_not_started():
    competition_class = make_class(entries=2)
    mark_sheet(competition_class.entries.get(number="2"), mark=65)
    document = class_document(competition_class)
    assert [entry["number"] for entry in document["entries"]] == ["2"]
    assert document["entries"][0]["sheets"]["C"]["marks"]["2"] == "6.5"
