from __future__ import annotations

import pytest
from django.urls import reverse

from competitions.models import Entry
from tests.builders import mark_sheet

pytestmark = pytest.mark.django_db


def address(name: str, cls, *more: str) -> str:
    return reverse(name, args=[cls.competition.slug, cls.number, *more])


def outcome(entry: Entry, **changes: str) -> dict[str, str]:
    found = {
        "version": str(entry.version),
        "status": entry.status,
        "reason": "",
        "errors_of_course": "0",
        "why": "",
        "deductions-TOTAL_FORMS": "4",
        "deductions-INITIAL_FORMS": "0",
    }
    for row in range(4):
        found |= {f"deductions-{row}-{name}": "" for name in ("amount", "seat", "reason")}
        found[f"deductions-{row}-off"] = "sheet-points"
    return found | {name.replace("__", "-"): value for name, value in changes.items()}


@pytest.fixture
def entry(cls):
    return cls.entries.get(number="1")


NEW = {"number": "9", "rider": "Marit Fjelldal", "horse": "Quillon", "horse_born": "2016", "owner": "Linden Stud"}


def test_a_pair_is_entered_by_hand_and_rides_last(desk, cls):
    response = desk.post(address("desk-entry-new", cls), NEW | {"hors_concours": "on", "team": "Green"})
    entered = cls.entries.get(number="9")
    assert response["Location"] == address("desk-class", cls)
    assert str(entered.pair) == "Marit Fjelldal with Quillon"
    assert (entered.order, entered.hors_concours, entered.team) == (4, True, "Green")
    assert entered.pair.horse.owner.name == "Linden Stud"


def test_the_same_name_within_the_competition_is_the_same_rider(desk, cls):
    desk.post(address("desk-entry-new", cls), NEW)
    desk.post(address("desk-entry-new", cls), NEW | {"number": "10", "horse": "Second Horse", "another": "yes"})
    assert cls.entries.get(number="9").pair.rider == cls.entries.get(number="10").pair.rider


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"number": ""}, "The number is missing. Enter it."),
        ({"number": "1"}, "Number 1 is taken in this class."),
        ({"number": "a/b"}, "&quot;a/b&quot; cannot be the number of an entry."),
        ({"number": "office"}, "cannot be the number of an entry"),
        ({"rider": " "}, "The rider is missing."),
        ({"horse_born": "1066"}, "The horse born in must be a whole number from 1970 to 2100, but 1066 was entered."),
        ({"rider_registration": "R1"}, "Registration R1 belongs to the rider &quot;Rider 1&quot;"),
    ],
)
def test_a_bad_entry_is_refused_with_what_was_typed(desk, cls, changes, sentence):
    response = desk.post(address("desk-entry-new", cls), NEW | changes)
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in page
    assert 'value="Quillon"' in page
    assert cls.entries.count() == 3


def test_number_and_pair_can_be_corrected_with_the_sheets_kept(desk, cls, entry):
    mark_sheet(entry)
    entry.refresh_from_db()
    fields = NEW | {"version": str(entry.version), "why": "horse changed at the declaration"}
    response = desk.post(address("desk-entry-edit", cls, "1"), fields)
    assert response["Location"] == address("desk-entry", cls, "9")
    entry.refresh_from_db()
    assert (entry.number, entry.pair.horse.name, entry.sheets.count()) == ("9", "Quillon", 1)
    page = desk.get(address("desk-entry", cls, "9")).content.decode()
    assert "horse changed at the declaration" in page
    assert "Rider 1 with Horse 1" in page


def test_a_second_correction_of_an_old_page_is_refused(desk, cls, entry):
    fields = NEW | {"version": str(entry.version)}
    desk.post(address("desk-entry-edit", cls, "1"), fields)
    response = desk.post(address("desk-entry-edit", cls, "9"), fields | {"number": "11"})
    assert response.status_code == 409
    assert "was changed by someone else" in response.content.decode()


def test_an_entry_without_sheets_is_removed_and_one_with_sheets_is_not(desk, cls, entry):
    desk.post(address("desk-entry-remove", cls, "2"))
    assert not cls.entries.filter(number="2").exists()
    mark_sheet(entry)
    page = desk.post(address("desk-entry-remove", cls, "1"), follow=True).content.decode()
    assert "Set its outcome to withdrawn" in page
    assert cls.entries.filter(number="1").exists()


def test_errors_of_course_and_their_consequence_are_said(desk, cls, entry):
    desk.post(address("desk-entry", cls, "1"), outcome(entry, errors_of_course="2"))
    page = desk.get(address("desk-entry", cls, "1")).content.decode()
    assert "2 errors of course: 6 points off every sheet. The next error eliminates." in page
    assert "3 errors of course: this eliminates the ride (the third error eliminates)." in page


def test_the_third_error_eliminates(desk, cls, entry):
    for seat in "CB":
        mark_sheet(entry, seat)
    entry.refresh_from_db()
    desk.post(address("desk-entry", cls, "1"), outcome(entry, errors_of_course="3"))
    entry.refresh_from_db()
    assert entry.result.document["status"] == "eliminated"
    assert entry.result.document["reason"] == "errors of course"


@pytest.mark.parametrize("status", ["eliminated", "retired", "withdrawn", "no-show"])
def test_every_outcome_is_kept_with_its_reason_and_history(desk, cls, entry, status):
    desk.post(address("desk-entry", cls, "1"), outcome(entry, status=status, reason="fall of rider", why="judge at C"))
    entry.refresh_from_db()
    assert (entry.status, entry.status_reason) == (status, "fall of rider")
    change = entry.changes.last()
    assert (change.reason, change.before["status"], change.by.username) == ("judge at C", "entered", "office")


def test_deductions_are_kept_as_the_open_format_writes_them(desk, cls, entry):
    changes = {
        "deductions__0__amount": "2",
        "deductions__0__seat": "C",
        "deductions__0__reason": "whip",
        "deductions__1__amount": "0,5",
        "deductions__1__off": "total-percentage",
        "deductions__1__reason": "dress",
    }
    assert desk.post(address("desk-entry", cls, "1"), outcome(entry, **changes)).status_code == 302
    entry.refresh_from_db()
    assert entry.deductions == [
        {"off": "sheet-points", "amount": "2", "seat": "C", "reason": "whip"},
        {"off": "total-percentage", "amount": "0.5", "reason": "dress"},
    ]
    assert "2 points off sheet C: whip." in desk.get(address("desk-class", cls)).content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"status": "eliminated"}, "An elimination needs its reason"),
        ({"status": "vanished"}, "vanished"),
        ({"errors_of_course": "-1"}, "The errors of course must be a whole number from 0 to 20, but -1 was entered."),
        ({"errors_of_course": "two"}, "The errors of course must be a whole number from 0 to 20."),
        ({"deductions__0__amount": "2"}, "A deduction needs its reason"),
        ({"deductions__0__amount": "two", "deductions__0__reason": "whip"}, "&quot;two&quot; is not an amount."),
        ({"deductions__0__amount": "0", "deductions__0__reason": "whip"}, "must be above 0"),
        ({"deductions__0__reason": "whip"}, "The deduction for whip has no amount."),
        ({"deductions__0__amount": "2", "deductions__0__reason": "x", "deductions__0__seat": "Z"}, "Z is not one of"),
    ],
)
def test_a_bad_outcome_is_refused_in_a_sentence(desk, cls, entry, changes, sentence):
    response = desk.post(address("desk-entry", cls, "1"), outcome(entry, why="kept words", **changes))
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in page
    assert 'value="kept words"' in page
    assert entry.changes.count() == 1


def test_two_who_set_an_outcome_do_not_overwrite_each_other(desk, second_desk, cls, entry):
    old = outcome(entry, errors_of_course="1")
    second_desk.post(address("desk-entry", cls, "1"), outcome(entry, errors_of_course="2"))
    response = desk.post(address("desk-entry", cls, "1"), old)
    page = response.content.decode()
    assert response.status_code == 409
    assert "It now stands at: entered; 2 errors of course." in page
    assert 'name="errors_of_course" value="1"' in page
    entry.refresh_from_db()
    assert entry.errors == 2
    assert f'name="version" value="{entry.version}"' in page


def test_completed_without_full_sheets_says_what_is_waited_for(desk, cls, entry):
    mark_sheet(entry, "C")
    entry.refresh_from_db()
    page = desk.post(address("desk-entry", cls, "1"), outcome(entry, status="completed"), follow=True).content.decode()
    assert "It counts as completed as soon as every seat&#x27;s sheet is full." in page
