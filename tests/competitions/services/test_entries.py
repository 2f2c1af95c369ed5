from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from competitions.services.entries import (
    add_entry,
    draw_running_order,
    remove_entry,
    set_in_ring,
    set_outcome,
    set_running_order,
)
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import make_class, make_pair, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def numbers(competition_class) -> list[str]:
    return list(competition_class.entries.order_by("order").values_list("number", flat=True))


def test_ride_times_follow_order_interval_and_breaks_in_local_time():
    competition_class = make_class(entries=3, breaks=[{"after": 2, "minutes": 15}])
    zone = ZoneInfo("Europe/Vienna")
    times = [entry.ride_time.astimezone(zone) for entry in competition_class.entries.order_by("order")]
    assert times == [datetime(2026, 11, 14, 9, minute, tzinfo=zone) for minute in (0, 8, 31)]


def test_a_draw_can_be_repeated_with_its_seed():
    competition_class = make_class(entries=12)
    draw_running_order(competition_class, seed="autumn", by=None)
    drawn = numbers(competition_class)
    draw_running_order(competition_class, seed="spring", by=None)
    other = numbers(competition_class)
    draw_running_order(competition_class, seed="autumn", by=None)
    assert sorted(drawn, key=int) == [str(n) for n in range(1, 13)]
    assert numbers(competition_class) == drawn != other
    assert competition_class.changes.last().reason == "seed autumn"


def test_no_draw_once_the_class_has_started():
    competition_class = make_class(entries=2)
    mark_sheet(competition_class.entries.get(number="1"))
    with pytest.raises(NotAllowed, match="has started"):
        draw_running_order(competition_class, seed="x", by=None)
    with pytest.raises(InvalidInput, match="seed"):
        draw_running_order(competition_class, seed=" ", by=None)


def test_the_order_names_every_entry_once():
    competition_class = make_class(entries=3)
    ids = list(competition_class.entries.order_by("-number").values_list("pk", flat=True))
    set_running_order(competition_class, entry_ids=ids, by=None)
    assert numbers(competition_class) == ["3", "2", "1"]
    for wrong in (ids[:2], [*ids, ids[0]], [ids[0], ids[1], 10**9]):
        with pytest.raises(InvalidInput, match="every entry of the class once"):
            set_running_order(competition_class, entry_ids=wrong, by=None)
    change = competition_class.changes.last()
    assert (change.before, change.after) == (["1", "2", "3"], ["3", "2", "1"])


def test_a_number_belongs_to_one_entry():
    competition_class = make_class(entries=1)
    with pytest.raises(InvalidInput) as refused:
        add_entry(competition_class, number="1", pair=make_pair(2), by=None)
    assert refused.value.fields["number"] == [
        "Number 1 belongs to Rider 1 with Horse 1 in this class. Give another number."
    ]
    with pytest.raises(InvalidInput, match="needs a number"):
        add_entry(competition_class, number="", pair=make_pair(2), by=None)


def test_an_entry_with_sheets_is_not_removed():
    competition_class = make_class(entries=2)
    entry = competition_class.entries.get(number="1")
    mark_sheet(entry)
    with pytest.raises(NotAllowed, match="withdrawn instead"):
        remove_entry(entry, by=None)
    remove_entry(competition_class.entries.get(number="2"), by=None)
    assert numbers(competition_class) == ["1"]


def test_an_outcome_is_noted_with_who_why_and_what_stood_before():
    office = make_user("office")
    entry = make_class(entries=1).entries.get()
    mark_sheet(entry)
    entry.refresh_from_db()
    deduction = {"off": "sheet-points", "amount": "2", "seat": None, "reason": "whip"}
    set_outcome(
        entry,
        expected_version=entry.version,
        by=office,
        errors=1,
        deductions=[deduction],
        why="noted by the judge at C",
    )
    # 52 of 80 points, less 2 for the first error (rules of this test) and 2 for the whip: 48 of 80 = 60 %
    assert entry.result.total == "60.000"
    change = entry.changes.last()
    assert (change.by, change.reason) == (office, "noted by the judge at C")
    assert (change.before["errors"], change.after["errors"]) == (0, 1)


def test_two_people_on_one_outcome_the_second_is_told():
    entry = make_class(entries=1).entries.get()
    version = entry.version
    set_outcome(entry, expected_version=version, by=None, status="withdrawn", reason="lame")
    with pytest.raises(Conflict, match="changed by someone else"):
        set_outcome(entry, expected_version=version, by=None, status="no-show")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"status": "disqualified"}, "status"),
        ({"errors": -1}, "errors"),
        ({"errors": 21}, "errors"),
        ({"errors": True}, "errors"),
        ({"deductions": [{"off": "mark", "amount": "2"}]}, "deductions[0]"),
        ({"deductions": [{"off": "sheet-points", "amount": "two"}]}, "deductions[0]"),
        ({"deductions": [{"off": "sheet-points", "amount": "0"}]}, "deductions[0]"),
        ({"deductions": [{"off": "sheet-points", "amount": "2", "colour": "red"}]}, "deductions[0]"),
    ],
)
def test_nonsense_outcomes_are_refused(changes, field):
    entry = make_class(entries=1).entries.get()
    with pytest.raises(InvalidInput) as refused:
        set_outcome(entry, expected_version=None, by=None, **changes)
    assert field in refused.value.fields


def test_an_outcome_taken_back_lets_the_status_follow_the_sheets():
    entry = make_class(entries=1).entries.get()
    mark_sheet(entry)
    set_outcome(entry, expected_version=None, by=None, status="retired", reason="horse lame")
    assert entry.result.document["status"] == "retired"
    set_outcome(entry, expected_version=None, by=None, status="running", reason="")
    assert (entry.status, entry.result.placing) == ("completed", 1)


def test_who_is_in_the_ring():
    competition_class = make_class(entries=2)
    first, second = competition_class.entries.order_by("order")
    set_in_ring(competition_class, entry=first, by=None)
    first.refresh_from_db()
    assert (competition_class.in_ring, first.status) == (first, "running")
    set_in_ring(competition_class, entry=second, by=None)
    first.refresh_from_db()
    assert first.status == "entered", "nobody has marked it, so it has not ridden"
    set_outcome(second, expected_version=None, by=None, status="eliminated", reason="resistance")
    competition_class.refresh_from_db()
    assert competition_class.in_ring is None
    set_outcome(first, expected_version=None, by=None, status="withdrawn")
    with pytest.raises(NotAllowed, match="withdrawn"):
        set_in_ring(competition_class, entry=first, by=None)
