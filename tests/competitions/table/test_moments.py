"""Moments of a recording and limited view, as they arrive from the judge's table."""

from __future__ import annotations

import pytest

from competitions.models import Sheet, SheetRevision
from tests.builders import mark_sheet
from tests.competitions.table.test_changes import outcomes

pytestmark = pytest.mark.django_db


def test_moments_and_limited_view_arrive_with_the_mark_as_one_saving(send, judge, place):
    response = send(
        judge,
        place() | {"field": "mark.1", "value": 65},
        place() | {"field": "time.1", "value": 83400},
        place() | {"field": "limited.1", "value": True, "base": False},
        place() | {"field": "remark.1", "value": "late", "base": ""},
        place() | {"field": "remark_time.1", "value": 85200},
        place() | {"field": "overall_time", "value": 0},
    )
    assert outcomes(response) == ["arrived"] * 6
    sheet = Sheet.objects.get()
    assert (sheet.version, sheet.times, sheet.remark_times) == (1, {"1": 83400}, {"1": 85200})
    assert (sheet.limited, sheet.overall_time) == (["1"], 0)
    state = response.json()["sheets"][0]
    assert (state["times"], state["remarkTimes"]) == ({"1": 83400}, {"1": 85200})
    assert (state["limited"], state["overallTime"]) == (["1"], 0)
    cleared = send(
        judge,
        place() | {"field": "time.1", "value": None, "base": 83400},
        place() | {"field": "limited.1", "value": False, "base": True},
        place() | {"field": "remark.1", "value": "", "base": "late"},
        place() | {"field": "remark_time.1", "value": None, "base": 85200},
        place() | {"field": "overall_time", "value": None, "base": 0},
    )
    assert outcomes(cleared) == ["arrived"] * 5
    sheet.refresh_from_db()
    assert (sheet.times, sheet.remark_times, sheet.limited, sheet.overall_time) == ({}, {}, [], None)


def test_a_moment_that_the_office_set_otherwise_is_held_and_named(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={}, times={"1": 9000}, limited=["1"], by=office)
    response = send(
        judge,
        place() | {"field": "time.1", "value": 8000},
        place() | {"field": "limited.1", "value": True, "base": False},
    )
    assert outcomes(response) == ["held", "arrived"]
    held = response.json()["answers"][0]
    assert (held["theirs"], held["by"]) == (9000, str(office))


def test_a_signed_sheet_keeps_its_moments(send, judge, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", signed=True)
    response = send(judge, place() | {"field": "time.1", "value": 8000})
    assert outcomes(response) == ["held"]
    assert Sheet.objects.get().times == {}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("time.1", 83.4),
        ("time.1", "83400"),
        ("time.1", -1),
        ("time.1", 10**18),
        ("time.99", 5),
        ("remark_time.1", True),
        ("limited.1", 1),
        ("limited.99", True),
        ("overall_time", "0"),
        ("overall_time", -5),
        ("overall_time.1", 5),
        ("times.1", 5),
        ("time", 5),
        ("limited", True),
    ],
)
def test_nonsense_about_moments_is_refused_and_writes_nothing(send, judge, place, field, value):
    assert outcomes(send(judge, place() | {"field": field, "value": value})) == ["refused"]
    assert not Sheet.objects.exists()


def test_a_revision_from_before_there_were_recordings_names_the_last_writer_all_the_same(send, judge, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={"1": 60}, by=judge)
    mark_sheet(cls.entries.get(number="1"), "C", marks={}, times={"1": 9000}, by=judge)
    old = {"marks": {}, "remarks": {}, "overall_remarks": "", "given_result": None, "signed": False}
    SheetRevision.objects.filter(version=1).update(before=old, after={**old, "marks": {"1": 60}})
    response = send(judge, place() | {"field": "time.1", "value": 8000})
    assert response.json()["answers"][0]["by"] == str(judge)
