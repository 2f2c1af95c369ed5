from __future__ import annotations

import threading

import pytest
from django.db import connections

from competitions.models import Competition, KeyingDecision, SecondKeying, SheetChoice, SheetRevision
from competitions.selectors.keyings import keyings_of_class, keyings_of_sheet, mode_of
from competitions.services.differences import decide_finding, findings_of
from competitions.services.entries import set_outcome
from competitions.services.keyings import Settlement, choose_sheets, key_again, note_first_seen, settle_differences
from competitions.services.results import make_official
from competitions.services.sheets import SheetChanges, save_sheet
from riders.errors import Conflict, InvalidInput, NotAllowed
from tests.builders import make_class, make_user, mark_sheet

ITEMS = ("1", "2", "3", "4", "G1", "G2")

pytestmark = pytest.mark.django_db


def keyed_once(*, mode="all", entries=1, first=None, **sheet):
    """A class with one seat whose sheets have been keyed once, every mark 6.5 unless ``sheet`` says otherwise."""
    found = make_class(entries=entries, second_keying=mode)
    for entry in found.entries.all():
        mark_sheet(entry, by=first, **sheet)
    found.refresh_from_db()
    return found


def reading(mark="6.5", **fields):
    return {f"mark.{item}": mark for item in ITEMS} | {name.replace("__", "."): value for name, value in fields.items()}


def place(found):
    return {"entry": found.entries.first(), "seat": found.seats.first()}


def differences(keyings):
    return [(row.field, row.first, row.second) for row in keyings.differences]


def settlement(field, value, first, second, reason="read on the paper"):
    return Settlement(field=field, value=value, reason=reason, first=first, second=second)


def test_a_class_follows_the_competition_unless_it_says_otherwise():
    found = keyed_once(mode="")
    assert (mode_of(found), keyings_of_class(found)) == ("off", [])
    found.competition.second_keying = "all"
    assert [keyings.state for keyings in keyings_of_class(found)] == ["waiting"]
    found.second_keying = "off"
    assert keyings_of_class(found) == []


def test_agreement_makes_a_sheet_final_by_itself_and_changes_nothing_on_it():
    found = keyed_once(typed_total="52.0", signed=True)
    sheet = found.entries.get().sheets.get()
    done = key_again(**place(found), read=reading("65", total="52", signed="1"), by=make_user("casper"))
    assert (done.state, done.differences) == ("final", ())
    sheet.refresh_from_db()
    assert (sheet.version, sheet.revisions.count()) == (1, 1)
    assert findings_of(found) == ()


def test_every_kind_of_field_is_compared():
    found = keyed_once(typed_total="52", signed=True)
    entry = found.entries.get()
    deductions = [
        {"off": "sheet-points", "amount": "2", "seat": None, "part": None, "reason": "whip"},
        {"off": "total-percentage", "amount": "0.5", "seat": None, "part": None, "reason": "late"},
    ]
    set_outcome(entry, expected_version=None, by=None, errors=1, deductions=deductions)
    done = key_again(**place(found), read=reading(mark__2="7", mark__3="", total="53,5"), by=make_user("casper"))
    assert done.state == "differs"
    assert differences(done) == [
        ("mark.2", "6.5", "7.0"),
        ("mark.3", "6.5", ""),
        ("errors", "1", "0"),
        ("deducted", "2", "0"),
        ("deducted-percent", "0.5", "0"),
        ("total", "52", "53.5"),
        ("signed", "yes", ""),
    ]


def test_remarks_are_compared_where_the_competition_asks_for_it():
    found = keyed_once(remarks={"1": "late"}, overall_remarks="A  fine\nride")
    with pytest.raises(InvalidInput) as refused:
        key_again(**place(found), read=reading(remark__1="late"), by=make_user("casper"))
    assert refused.value.problems == [("remark.1", '"remark.1" is no field of this sheet that is keyed twice.')]
    found.competition.second_keying_remarks = True
    found.competition.save()
    read = reading(remark__1="hate", overall="A fine ride")
    assert differences(key_again(**place(found), read=read, by=make_user("thea"))) == [("remark.1", "late", "hate")]


def test_a_mark_that_the_office_put_in_does_not_stand_on_the_paper():
    found = keyed_once(substitutes=["3"])
    assert key_again(**place(found), read=reading(mark__3=""), by=make_user("casper")).state == "final"


def test_a_result_without_marks_is_keyed_twice_too():
    found = make_class(entries=1, second_keying="all")
    mark_sheet(found.entries.get(), marks={}, given_result={"points": "186.50"})
    done = key_again(**place(found), read={"given": "points 186.5"}, by=make_user("casper"))
    assert done.state == "final"


def test_the_second_keyer_must_be_somebody_else():
    ottilie, casper, thea = make_user("ottilie"), make_user("casper"), make_user("thea")
    found = keyed_once(first=ottilie)
    with pytest.raises(NotAllowed, match="someone else's") as refused:
        key_again(**place(found), read=reading(), by=ottilie)
    assert refused.value.code == "same-person"
    note_first_seen(found.entries.get().sheets.get(), by=thea)
    with pytest.raises(NotAllowed, match="opened its first keying"):
        key_again(**place(found), read=reading(), by=thea)
    key_again(**place(found), read=reading("7"), by=casper)
    with pytest.raises(NotAllowed, match="a second time already"):
        key_again(**place(found), read=reading(), by=casper)
    assert SecondKeying.objects.count() == 1


@pytest.mark.parametrize(
    ("read", "sentence"),
    [
        ({"mark.1": "10.3"}, "Movement 1: Mark 10.3 is not a step of 0.5"),
        ({"mark.99": "7"}, '"mark.99" is no field'),
        ({"errors": "-1"}, "whole number from 0 to 20"),
        ({"errors": "²"}, "whole number from 0 to 20"),
        ({"errors": "9" * 5000}, "whole number from 0 to 20"),
        ({"total": "abc"}, '"abc" is not a number'),
        ({"deducted": "-2"}, '"-2" is not a number'),
        ({"signed": "perhaps"}, "Enter yes or no"),
        ({"given": "points 186.5", "mark.1": "7"}, "Leave one of the two empty"),
        ({"given": "186.5"}, "is no result"),
        ({"given": "percentage 101"}, "out of range"),
        ({"given": "points x"}, "plain decimal number"),
    ],
)
def test_nonsense_is_refused_in_a_sentence_and_nothing_is_kept(read, sentence):
    found = keyed_once()
    with pytest.raises(InvalidInput) as refused:
        key_again(**place(found), read=read, by=make_user("casper"))
    assert sentence in " ".join(text for _, text in refused.value.problems)
    assert not SecondKeying.objects.exists()


def test_what_is_decided_is_written_on_the_sheet_with_the_reason_and_makes_it_final():
    found = keyed_once()
    casper = make_user("casper")
    entry = found.entries.get()
    key_again(**place(found), read=reading(mark__1="7", mark__2="6", errors="1"), by=casper)
    seven = settlement("mark.1", "7", "6.5", "7.0", "the 7 is clear")
    first_stands = settlement("mark.2", "65", "6.5", "6.0", "the 6 is half a 6.5")
    done = settle_differences(**place(found), settlements=[seven, first_stands], by=casper)
    assert (done.state, differences(done)) == ("differs", [("errors", "0", "1")])
    sheet = entry.sheets.get()
    assert (sheet.marks["1"], sheet.marks["2"], sheet.version) == (70, 65, 2)
    assert sheet.revisions.get(version=2).reason == "keyed twice: the 7 is clear; the 6 is half a 6.5"
    done = settle_differences(**place(found), settlements=[settlement("errors", "1", "0", "1")], by=casper)
    entry.refresh_from_db()
    assert (done.state, entry.errors) == ("final", 1)
    assert entry.changes.last().reason == "keyed twice: read on the paper"
    assert [(row.field, row.first, row.second, row.value) for row in KeyingDecision.objects.order_by("pk")] == [
        ("mark.1", "6.5", "7.0", "7.0"),
        ("mark.2", "6.5", "6.0", "6.5"),
        ("errors", "0", "1", "1"),
    ]
    assert findings_of(found) == ()


def test_a_third_value_may_be_what_the_paper_says():
    found = keyed_once()
    key_again(**place(found), read=reading(mark__1="7"), by=make_user("casper"))
    done = settle_differences(**place(found), settlements=[settlement("mark.1", "75", "6.5", "7.0")], by=None)
    assert done.state == "final"
    assert found.entries.get().sheets.get().marks["1"] == 75


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"reason": "  "}, "say why"),
        ({"reason": "x" * 301}, "too long"),
        ({"value": "10.3"}, "not a step"),
        ({"field": "mark.2", "first": "6.5", "second": "6.5"}, "does not differ"),
        ({"field": "x" * 500}, "does not differ"),
    ],
)
def test_a_decision_needs_a_value_and_a_reason(wrong, sentence):
    found = keyed_once()
    key_again(**place(found), read=reading(mark__1="7"), by=make_user("casper"))
    given = {"field": "mark.1", "value": "7", "first": "6.5", "second": "7.0"} | wrong
    with pytest.raises(InvalidInput, match=sentence):
        settle_differences(**place(found), settlements=[settlement(**given)], by=None)
    with pytest.raises(InvalidInput, match="Nothing is decided"):
        settle_differences(**place(found), settlements=[], by=None)
    assert not KeyingDecision.objects.exists()


def test_deductions_are_changed_where_their_reasons_are():
    found = keyed_once()
    key_again(**place(found), read=reading(deducted="2"), by=make_user("casper"))
    with pytest.raises(InvalidInput, match="on the page of the ride"):
        settle_differences(**place(found), settlements=[settlement("deducted", "2", "0", "2")], by=None)
    whip = {"off": "sheet-points", "amount": "2.0", "seat": None, "part": None, "reason": "whip"}
    set_outcome(found.entries.get(), expected_version=None, by=None, deductions=[whip])
    assert keyings_of_sheet(found, **place(found)).state == "final"


def test_a_change_after_that_opens_the_sheet_again_in_what_was_changed():
    casper = make_user("casper")
    found = keyed_once()
    key_again(**place(found), read=reading(mark__1="7"), by=casper)
    settle_differences(**place(found), settlements=[settlement("mark.1", "7", "6.5", "7.0")], by=casper)
    entry = found.entries.get()
    mark_sheet(entry, marks={"1": 80, "2": 60})
    again = keyings_of_sheet(found, **place(found))
    assert differences(again) == [("mark.1", "8.0", "7.0"), ("mark.2", "6.0", "6.5")]
    assert again.differences[0].decided.value == "7.0"
    mark_sheet(entry, marks={"1": 70, "2": 65})
    assert keyings_of_sheet(found, **place(found)).state == "final"


def test_a_third_person_may_key_once_more_and_then_only_that_counts():
    found = keyed_once()
    key_again(**place(found), read=reading(mark__1="7"), by=make_user("casper"))
    settle_differences(**place(found), settlements=[settlement("mark.1", "7", "6.5", "7.0")], by=None)
    last = key_again(**place(found), read=reading(), by=make_user("thea"))
    assert differences(last) == [("mark.1", "7.0", "6.5")]
    assert (SecondKeying.objects.count(), KeyingDecision.objects.count()) == (2, 1)


def test_the_first_keyer_may_change_the_sheet_while_it_is_keyed_again():
    found = keyed_once()
    mark_sheet(found.entries.get(), marks={"1": 70})
    done = key_again(**place(found), read=reading(), by=make_user("casper"), seen=0)
    assert differences(done) == [("mark.1", "7.0", "6.5")]
    assert done.keying.first_version == 2
    mark_sheet(found.entries.get(), marks={"1": 75})
    with pytest.raises(Conflict, match="has changed since you looked"):
        settle_differences(**place(found), settlements=[settlement("mark.1", "6.5", "7.0", "6.5")], by=None)


def test_of_two_who_key_again_the_second_is_told():
    found = keyed_once()
    key_again(**place(found), read=reading(), by=make_user("casper"), seen=0)
    with pytest.raises(Conflict, match="casper has keyed this sheet a second time meanwhile"):
        key_again(**place(found), read=reading("7"), by=make_user("thea"), seen=0)
    assert SecondKeying.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_save_at_the_same_moment_are_one_keying_and_one_refusal():
    found = keyed_once()
    people = [make_user("casper"), make_user("thea")]
    where, start, outcomes = place(found), threading.Barrier(2), []

    def save(person):
        start.wait()
        try:
            outcomes.append(key_again(**where, read=reading(), by=person, seen=0).state)
        except Conflict:
            outcomes.append("told")
        finally:
            connections.close_all()

    threads = [threading.Thread(target=save, args=(person,)) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["final", "told"]
    assert SecondKeying.objects.count() == 1


def test_a_sheet_signed_at_the_judges_table_was_never_on_paper():
    found = make_class(entries=1, second_keying="all")
    where = place(found)
    marks = dict.fromkeys(ITEMS, 65)
    by_judge = {"by": None, "source": SheetRevision.Source.TABLE}
    save_sheet(**where, expected_version=0, changes=SheetChanges(marks=marks), **by_judge)
    assert keyings_of_sheet(found, **where).state == "waiting"
    save_sheet(**where, expected_version=1, changes=SheetChanges(signed=True), **by_judge)
    assert keyings_of_sheet(found, **where) is None
    with pytest.raises(NotAllowed, match="no paper"):
        key_again(**where, read=reading(), by=make_user("casper"))
    mark_sheet(where["entry"], marks={}, signed=False)
    mark_sheet(where["entry"], marks={}, signed=True)
    assert keyings_of_sheet(found, **where).state == "waiting"


def test_chosen_sheets_only():
    found = keyed_once(mode="chosen", entries=2)
    first, second = found.entries.order_by("number")
    seat = found.seats.get()
    with pytest.raises(NotAllowed, match="not chosen"):
        key_again(entry=first, seat=seat, read=reading(), by=make_user("casper"))
    assert choose_sheets(found, places={(first.pk, seat.pk)}, by=None) == 1
    assert [keyings.entry.number for keyings in keyings_of_class(found)] == ["1"]
    assert choose_sheets(found, places={(second.pk, seat.pk)}, by=None) == 2
    assert [keyings.entry.number for keyings in keyings_of_class(found)] == ["2"]
    assert SheetChoice.objects.count() == 3
    with pytest.raises(InvalidInput, match="not of this class"):
        choose_sheets(found, places={(first.pk, seat.pk + 99)}, by=None)
    found.second_keying = "all"
    found.save()
    with pytest.raises(NotAllowed, match="does not key chosen sheets"):
        choose_sheets(found, places=set(), by=None)


def test_what_is_off_or_not_complete_is_not_keyed_twice():
    casper = make_user("casper")
    with pytest.raises(NotAllowed, match="are keyed once"):
        key_again(**place(keyed_once(mode="off")), read=reading(), by=casper)
    found = make_class(Competition.objects.get(), number="9", entries=1, second_keying="all")
    with pytest.raises(NotAllowed, match="not complete"):
        key_again(**place(found), read=reading(), by=casper)
    mark_sheet(found.entries.get(), marks={"1": 65})
    with pytest.raises(NotAllowed, match="not complete"):
        key_again(**place(found), read=reading(), by=casper)


def test_a_sheet_that_waits_counts_and_stands_in_the_way_of_official_results():
    found = keyed_once()
    assert found.entries.get().result.total == "65.000"
    (finding,) = findings_of(found)
    assert (finding.key, finding.kind, finding.seat) == ("second-keying/1/C", "second-keying", "C")
    with pytest.raises(InvalidInput) as refused:
        make_official(found, by=None)
    assert refused.value.code == "findings-undecided"
    key_again(**place(found), read=reading(mark__1="7", total="52"), by=make_user("casper"))
    (finding,) = findings_of(found)
    assert (finding.key, finding.figures) == ("keyings/1/C", "mark.1 6.5/7.0, total -/52")
    assert "differ in 2 fields" in finding.sentence
    with pytest.raises(InvalidInput, match="Say why"):
        decide_finding(found, finding.key, reason=" ", by=None)
    decide_finding(found, finding.key, reason="the paper is lost", by=None)
    make_official(found, by=None)


def test_a_decision_to_let_it_wait_holds_only_while_the_sheet_is_as_it_was():
    found = keyed_once()
    decide_finding(found, "second-keying/1/C", reason="nobody is there to key it", by=None)
    assert all(finding.decided for finding in findings_of(found))
    mark_sheet(found.entries.get(), marks={"1": 60})
    (finding,) = findings_of(found)
    assert (finding.decided, finding.changed) == (False, True)


def test_the_queries_do_not_grow_with_the_sheets(django_assert_num_queries):
    found = keyed_once(entries=3)
    casper = make_user("casper")
    seat = found.seats.get()
    for entry in found.entries.all():
        key_again(entry=entry, seat=seat, read=reading("7"), by=casper)
    assert found.competition.second_keying == "off"
    assert found.test.key  # so that both have been read
    # seats, sheets, second keyings, decisions
    with django_assert_num_queries(4):
        assert len(keyings_of_class(found)) == 3
    found.entries.exclude(number="1").delete()
    with django_assert_num_queries(4):
        assert len(keyings_of_class(found)) == 1
