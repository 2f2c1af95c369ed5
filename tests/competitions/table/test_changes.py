"""What arrives from the judge's table: once, in order, and never over what someone else wrote."""

from __future__ import annotations

import threading

import pytest
from django.db import connection

from competitions.models import EntryChange, Sheet, SheetRevision, TableChange
from competitions.services.results import make_official
from competitions.services.table import take_changes
from competitions.table.arriving import read_changes
from tests.builders import mark_sheet
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db


def outcomes(response) -> list[str]:
    assert response.status_code == 200, response.content
    return [answer["outcome"] for answer in response.json()["answers"]]


def test_marks_remarks_and_the_signature_arrive_as_one_saving(send, judge, place):
    response = send(
        judge,
        place() | {"field": "mark.1", "value": 65},
        place() | {"field": "remark.1", "value": " more bend ", "base": ""},
        place() | {"field": "overall", "value": "A pleasant ride.", "base": ""},
        place() | {"field": "signed", "value": True, "base": False},
    )
    assert outcomes(response) == ["arrived"] * 4
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.remarks, sheet.overall_remarks) == ({"1": 65}, {"1": "more bend"}, "A pleasant ride.")
    assert (sheet.signed, sheet.version, sheet.changed_by) == (True, 1, judge)
    revision = SheetRevision.objects.get()
    assert (revision.source, revision.by, revision.version) == (SheetRevision.Source.TABLE, judge, 1)
    assert response.json()["sheets"][0]["marks"] == {"1": 65}
    assert response.json()["entries"][0]["status"] == "running"


def test_later_values_win_over_earlier_ones_of_the_same_device(send, judge, place):
    response = send(
        judge,
        place() | {"field": "mark.1", "value": 60},
        place() | {"field": "mark.1", "value": 65, "base": 60},
        place() | {"field": "mark.2", "value": 70},
        place() | {"field": "mark.2", "value": None, "base": 70},
    )
    assert outcomes(response) == ["arrived"] * 4
    assert Sheet.objects.get().marks == {"1": 65}


def test_what_is_sent_twice_arrives_once_also_after_the_office_corrected_it(send, judge, office, cls, place):
    change = place() | {"id": "the-first-change", "field": "mark.1", "value": 70}
    assert outcomes(send(judge, change)) == ["arrived"]
    mark_sheet(cls.entries.get(number="1"), "C", marks={"1": 75}, by=office)
    again = send(judge, change)
    assert outcomes(again) == ["arrived"]
    assert Sheet.objects.get().marks == {"1": 75}
    assert again.json()["sheets"][0]["marks"] == {"1": 75}
    assert TableChange.objects.count() == 1


def test_a_conflict_with_the_office_is_held_and_named_and_the_rest_arrives(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={"2": 70}, by=office)
    response = send(
        judge,
        place() | {"field": "mark.1", "value": 60},
        place() | {"field": "mark.2", "value": 65},
        place() | {"field": "mark.3", "value": 55},
        place() | {"field": "signed", "value": True, "base": False},
    )
    assert outcomes(response) == ["arrived", "held", "arrived", "held"]
    held = response.json()["answers"][1]
    assert (held["theirs"], held["by"], held["why"]) == (70, "Ottilie Brandmair", "Someone else wrote here.")
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.signed) == ({"1": 60, "2": 70, "3": 55}, False)
    assert outcomes(send(judge, place() | {"field": "mark.2", "value": 65, "base": 70})) == ["arrived"]
    assert Sheet.objects.get().marks["2"] == 65


def test_the_one_is_named_who_wrote_the_field_not_who_saved_the_sheet_last(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={"2": 70}, by=office)
    send(judge, place() | {"field": "mark.1", "value": 60})
    held = send(judge, place() | {"field": "mark.2", "value": 65}).json()["answers"][0]
    assert (held["outcome"], held["by"]) == ("held", "Ottilie Brandmair")


def test_both_wrote_the_same_so_there_is_nothing_to_decide(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={"2": 70}, by=office)
    assert outcomes(send(judge, place() | {"field": "mark.2", "value": 70})) == ["arrived"]
    assert Sheet.objects.get().version == 1


def test_a_signed_sheet_is_opened_again_before_it_changes(send, judge, place):
    send(judge, place() | {"field": "mark.1", "value": 60}, place() | {"field": "signed", "value": True, "base": False})
    assert outcomes(send(judge, place() | {"field": "mark.1", "value": 65, "base": 60})) == ["held"]
    both = send(
        judge,
        place() | {"field": "signed", "value": False, "base": True},
        place() | {"field": "mark.1", "value": 65, "base": 60},
    )
    assert outcomes(both) == ["arrived", "arrived"]
    assert (Sheet.objects.get().marks, Sheet.objects.get().signed) == ({"1": 65}, False)


def test_a_result_that_the_office_keyed_without_marks_is_not_lost_to_a_mark(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={}, given_result={"percentage": "67.273"}, by=office)
    held = send(judge, place() | {"field": "mark.1", "value": 60})
    assert outcomes(held) == ["held"]
    assert held.json()["answers"][0]["theirs"] == "67.273 %"
    assert Sheet.objects.get().given_result == {"percentage": "67.273"}
    assert outcomes(send(judge, place() | {"field": "mark.1", "value": 60, "overGiven": True})) == ["arrived"]
    assert Sheet.objects.get().given_result is None


def test_the_judges_mark_is_no_substitute_any_more(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", substitutes=["2"], mark=65, by=office)
    assert outcomes(send(judge, place() | {"field": "mark.2", "value": 70, "base": 65})) == ["arrived"]
    assert Sheet.objects.get().substitutes == []


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("mark.1", 63, "Mark 6.3 for movement 1 is not on its scale. Enter 10 or less in steps of 0.5."),
        ("mark.99", 60, 'The test has no item "99" that this seat marks.'),
        ("mark.1", 6.5, "This is nothing that stands on a sheet."),
        ("mark.1", True, "This is nothing that stands on a sheet."),
        ("remark.1", "\ud800", "This is nothing that stands on a sheet."),
        ("signed", "yes", "This is nothing that stands on a sheet."),
        ("errors", -1, "This is nothing that stands on a sheet."),
        ("version", 3, "This is nothing that stands on a sheet."),
    ],
)
def test_what_no_sheet_can_hold_is_refused_by_itself(send, judge, place, field, value, why):
    response = send(judge, place() | {"field": field, "value": value}, place() | {"field": "mark.2", "value": 70})
    found = {answer["outcome"]: answer["why"] for answer in response.json()["answers"]}
    assert found == {"refused": why, "arrived": ""}
    assert Sheet.objects.get().marks == {"2": 70}


def test_errors_of_course_are_counted_by_the_judge_at_c(send, judge, cls, place):
    changes = [
        place() | {"field": "errors", "value": 1, "base": 0},
        place() | {"field": "errors", "value": 2, "base": 1},
    ]
    assert outcomes(send(judge, *changes)) == ["arrived", "arrived"]
    entry = cls.entries.get(number="1")
    assert entry.errors == 2
    assert entry.changes.last().reason == "counted at the judge's table, seat C"


def test_another_seat_tells_the_office_instead(send, colleague, cls, place):
    refused = send(colleague, place(seat="B") | {"field": "errors", "value": 1, "base": 0})
    assert outcomes(refused) == ["refused"]
    assert refused.json()["answers"][0]["why"] == "Only the judge at C and the office count errors of course."
    told = send(colleague, place(seat="B") | {"field": "told", "value": "error of course at movement 2"})
    assert outcomes(told) == ["arrived"]
    assert cls.entries.get(number="1").errors == 0
    assert EntryChange.objects.latest("id").reason == "Seat B tells the office: error of course at movement 2"


def test_errors_that_someone_else_changed_are_held(send, judge, office, cls, place):
    send(office, place() | {"field": "errors", "value": 1, "base": 0})
    held = send(judge, place() | {"field": "errors", "value": 0, "base": 2})
    assert outcomes(held) == ["held"]
    assert held.json()["answers"][0]["theirs"] == 1


def test_official_results_are_not_written_and_that_is_said(send, judge, cls, place):
    for number in "123":
        for seat in "CB":
            mark_sheet(cls.entries.get(number=number), seat)
    make_official(cls, by=None, findings_reason="looked at")
    response = send(
        judge,
        place() | {"field": "mark.1", "value": 70, "base": 65},
        place() | {"field": "errors", "value": 1, "base": 0},
    )
    assert outcomes(response) == ["refused", "refused"]
    assert "are official" in response.json()["answers"][0]["why"]
    assert "are official" in response.json()["answers"][1]["why"]
    assert Sheet.objects.get(entry__number="1", seat__seat="C").marks["1"] == 65


def test_a_seat_of_somebody_else_is_not_written(send, colleague, place):
    assert outcomes(send(colleague, place(seat="C") | {"field": "mark.1", "value": 60})) == ["refused"]
    assert not Sheet.objects.exists()


def test_what_another_person_wrote_waits_for_that_person(send, judge, colleague, place):
    response = send(colleague, place() | {"field": "mark.1", "value": 60}, as_user=judge)
    assert (response.status_code, response.json()["code"]) == (409, "other-user")
    assert not Sheet.objects.exists()


def test_who_is_logged_out_is_told_so_and_may_send_again(client, judge, place):
    response = client.post("/table/changes/", "{}", content_type="application/json")
    assert (response.status_code, response.json()["code"]) == (401, "logged-out")


@pytest.mark.parametrize("body", ["", "[]", "{}", '{"changes": 3}', '{"changes": [{}]}', '{"changes": [{"id": 3}]}'])
def test_nonsense_is_refused_whole(judge, cls, body):
    response = client_of(judge).post("/table/changes/", body, content_type="application/json")
    assert response.status_code == 400


def test_a_day_of_forty_sheets_is_one_saving_a_sheet(send, judge, cls, place):
    items = [item["id"] for item in cls.test.document["items"]]
    changes = [place(number) | {"field": f"mark.{item}", "value": 70} for number in "123" for item in items]
    assert outcomes(send(judge, *changes)) == ["arrived"] * len(changes)
    assert [sheet.version for sheet in Sheet.objects.all()] == [1, 1, 1]


@pytest.mark.django_db(transaction=True)
def test_the_same_changes_sent_by_two_requests_at_once_arrive_once(judge, cls, place):
    rows = [
        place() | {"id": f"same-change-{item}", "field": f"mark.{item}", "value": 70, "base": None} for item in "1234"
    ]
    start = threading.Barrier(2)
    found = []

    def bring() -> None:
        try:
            changes, _ = read_changes({"changes": rows}, by=judge)
            start.wait()
            found.append([verdict.outcome for verdict in take_changes(changes, by=judge)])
        finally:
            connection.close()

    threads = [threading.Thread(target=bring) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [["arrived"] * 4] * 2
    assert Sheet.objects.get().version == 1
    assert TableChange.objects.count() == 4


def test_a_signature_waits_for_what_differs_also_behind_an_error_of_course(send, judge, office, cls, place):
    mark_sheet(cls.entries.get(number="1"), "C", marks={"2": 70}, by=office)
    response = send(
        judge,
        place() | {"field": "mark.2", "value": 65},
        place() | {"field": "errors", "value": 1, "base": 0},
        place("2") | {"field": "mark.1", "value": 60},
        place() | {"field": "signed", "value": True, "base": False},
        place("2") | {"field": "signed", "value": True, "base": False},
    )
    assert outcomes(response) == ["held", "arrived", "arrived", "held", "arrived"]
    assert not Sheet.objects.get(entry__number="1").signed
    assert Sheet.objects.get(entry__number="2").signed
