from __future__ import annotations

import pytest

from competitions.models import Entry, PanelSeat, Sheet, SheetRevision
from competitions.services.results import make_official, start_correction
from competitions.services.sheets import SheetChanges, save_sheet, sheet_record
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import make_class, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def save(entry: Entry, *, expected_version: int, by=None, **changes):
    return save_sheet(
        entry=entry,
        seat=entry.competition_class.seats.get(),
        expected_version=expected_version,
        changes=SheetChanges(**changes),
        by=by,
        source=SheetRevision.Source.DESK,
    )


def test_saving_marks_keeps_them_as_tenths_with_a_revision_and_new_results():
    scribe = make_user("scribe")
    entry = make_class(entries=1).entries.get()
    before = entry.competition_class.version
    saved = save(entry, expected_version=0, by=scribe, marks={"1": 65, "2": 70}, remarks={"1": " Straight. "})
    sheet = saved.sheet
    sheet.refresh_from_db()
    assert (sheet.version, sheet.marks, sheet.remarks) == (1, {"1": 65, "2": 70}, {"1": "Straight."})
    revision = sheet.revisions.get()
    assert (revision.by, revision.before["marks"], revision.after["marks"]) == (scribe, {}, {"1": 65, "2": 70})
    entry.refresh_from_db()
    assert entry.status == "running"
    assert saved.class_version == before + 1
    # (6.5 + 2 x 7) of 30 points over the items marked so far = 68.333 %
    assert entry.result.document["so_far"] == "68.333"
    assert saved.summary.missing == ("3", "4", "G1", "G2")


def test_a_full_set_of_sheets_completes_the_entry_and_a_gap_opens_it_again():
    entry = make_class(seats="CB", entries=1).entries.get()
    mark_sheet(entry, "C")
    entry.refresh_from_db()
    assert entry.status == "running"
    mark_sheet(entry, "B", mark=70)
    entry.refresh_from_db()
    assert (entry.status, entry.result.placing, entry.result.total) == ("completed", 1, "67.500")
    mark_sheet(entry, "B", marks={"3": None})
    entry.refresh_from_db()
    assert (entry.status, entry.result.placing) == ("running", None)


def test_the_second_keyer_is_told_and_nothing_is_overwritten():
    first, second = make_user("first"), make_user("second")
    entry = make_class(entries=1).entries.get()
    save(entry, expected_version=0, by=first, marks={"1": 65})
    with pytest.raises(Conflict) as told:
        save(entry, expected_version=0, by=second, marks={"1": 70})
    assert told.value.current.marks == {"1": 65}
    assert "first" in told.value.message
    sheet = entry.sheets.get()
    assert (sheet.marks, sheet.version, sheet.revisions.count()) == ({"1": 65}, 1, 1)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"marks": {"1": 103}}, "marks.1", "Mark 10.3 for movement 1 is not on its scale"),
        ({"marks": {"1": 66}}, "marks.1", "in steps of 0.5"),
        ({"marks": {"1": -5}}, "marks.1", "Mark -0.5"),
        ({"marks": {"99": 60}}, "marks.99", 'no item "99"'),
        ({"marks": {"1": True}}, "marks.1", "not on its scale"),
        ({"remarks": {"99": "Good."}}, "remarks.99", 'no item "99"'),
        ({"remarks": {"1": "x" * 1001}}, "remarks.1", "1001 characters"),
        ({"overall_remarks": "x" * 5001}, "overall_remarks", "5001 characters"),
        ({"given_result": {"points": "1e3"}}, "given_result", "not a plain decimal"),
        ({"given_result": {"percentage": "101"}}, "given_result", "out of range"),
        ({"given_result": {"points": "1", "percentage": "2"}}, "given_result", "either"),
        ({"typed_total": "1" * 21}, "typed_total", "too long"),
        ({"substitutes": ["99"]}, "substitutes.99", "no item"),
    ],
)
def test_bad_input_is_refused_with_a_sentence_and_nothing_is_written(changes, field, words):
    entry = make_class(entries=1).entries.get()
    with pytest.raises(InvalidInput) as refused:
        save(entry, expected_version=0, **changes)
    assert words in " ".join(refused.value.fields[field])
    assert not entry.sheets.exists()


def test_every_problem_is_reported_at_once():
    entry = make_class(entries=1).entries.get()
    with pytest.raises(InvalidInput) as refused:
        save(entry, expected_version=0, marks={"1": 103, "2": 66}, remarks={"99": "?"})
    assert set(refused.value.fields) == {"marks.1", "marks.2", "remarks.99"}


def test_saving_the_same_again_writes_nothing_new():
    entry = make_class(entries=1).entries.get()
    save(entry, expected_version=0, marks={"1": 65})
    again = save(entry, expected_version=1, marks={"1": 65})
    assert (again.sheet.version, again.sheet.revisions.count()) == (1, 1)


def test_a_sheet_known_only_by_its_points_counts_like_a_full_one():
    entry = make_class(entries=1).entries.get()
    saved = save(entry, expected_version=0, given_result={"points": "52"})
    entry.refresh_from_db()
    # 4 movements of which one counts double, 1 collective and 1 collective that counts double: maximum 80
    assert (entry.status, entry.result.total, saved.summary.maximum) == ("completed", "65.000", "80")
    save(entry, expected_version=1, marks={"1": 65})
    assert entry.sheets.get().given_result is None


def test_official_results_are_closed_until_a_correction_is_started():
    entry = make_class(entries=1).entries.get()
    mark_sheet(entry)
    make_official(entry.competition_class, by=None)
    with pytest.raises(NotAllowed, match="Start a correction"):
        mark_sheet(entry, mark=70)
    start_correction(entry.competition_class, by=None, reason="Movement 3 misread")
    mark_sheet(entry, mark=70)
    assert entry.sheets.get().marks["3"] == 70


def test_nul_characters_do_not_reach_the_database():
    entry = make_class(entries=1).entries.get()
    save(entry, expected_version=0, remarks={"1": "Good\x00 walk"}, overall_remarks="\x00")
    assert entry.sheets.get().remarks == {"1": "Good walk"}


def test_completing_the_ride_clears_the_ring():
    competition_class = make_class(entries=2)
    entry = competition_class.entries.first()
    competition_class.in_ring = entry
    competition_class.save()
    mark_sheet(entry)
    competition_class.refresh_from_db()
    assert competition_class.in_ring is None


def test_times_and_limited_view_are_kept_in_the_sheet_and_its_history():
    entry, seat = make_class(entries=1).entries.get(), PanelSeat.objects.get()
    mark_sheet(entry, marks={"1": 65}, remarks={"1": "late"}, times={"1": 83400}, remark_times={"1": 85200})
    saved = mark_sheet(entry, marks={}, overall_time=0, limited=["2", "2", "1"])
    assert saved.sheet.times == {"1": 83400}
    assert saved.sheet.remark_times == {"1": 85200}
    assert (saved.sheet.overall_time, saved.sheet.limited) == (0, ["2", "1"])
    stored = Sheet.objects.get(entry=entry, seat=seat)
    assert sheet_record(stored) == stored.revisions.last().after
    gone = mark_sheet(entry, marks={"1": None}, remarks={"1": ""}, times={"1": None}, overall_time=None, limited=[])
    assert (gone.sheet.times, gone.sheet.remark_times, gone.sheet.limited) == ({}, {}, [])
    assert gone.sheet.overall_time is None


@pytest.mark.parametrize("time", [-1, 86_400_001, True, "83.4", 83.4])
def test_a_moment_that_no_recording_has_is_refused_with_its_item(time):
    entry = make_class(entries=1).entries.get()
    with pytest.raises(InvalidInput) as refused:
        mark_sheet(entry, times={"1": time, "99": 1}, remark_times={"2": time}, overall_time=time, limited=["98"])
    assert [where for where, _ in refused.value.problems] == [
        "times.1",
        "times.99",
        "remark_times.2",
        "overall_time",
        "limited.98",
    ]
    assert not Sheet.objects.exists()
