from __future__ import annotations

import pytest

from competitions.models import ClassResults, CompetitionClass, Entry, Sheet, SheetRevision
from competitions.services.documents import save_rule_set, save_test
from competitions.services.imports import import_marks
from competitions.services.results import make_official
from riders.errors import InvalidInput
from tests.builders import make_class, make_test_document, mark_sheet, rules_document

pytestmark = pytest.mark.django_db

ITEMS = ("1", "2", "3", "4", "G1", "G2")


def file(*rows: str) -> str:
    return "\n".join(("class,number,seat,item,mark,remark", *rows)) + "\n"


def whole(number: str = "1", seat: str = "C", mark: str = "6.5") -> list[str]:
    return [f"1,{number},{seat},{item},{mark},remark {item}" for item in ITEMS]


@pytest.fixture
def competition_class() -> CompetitionClass:
    return make_class(seats="CB", entries=2)


def counts(competition_class: CompetitionClass, text: str, **options: object) -> tuple[int, int, int]:
    summary = import_marks(competition_class.competition, text, by=None, **options)
    return summary.created, summary.changed, summary.unchanged


def problems_of(competition_class: CompetitionClass, text: str, **options: object) -> list[tuple[str, str]]:
    with pytest.raises(InvalidInput) as refused:
        import_marks(competition_class.competition, text, by=None, **options)
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    return refused.value.problems


def test_a_sheet_is_one_write_and_a_class_is_computed_once(competition_class):
    version = competition_class.version
    rows = [*whole(), *whole(seat="B"), "1,1,C,,,a promising pair"]
    assert counts(competition_class, file(*rows), reason="paper sheets") == (25, 0, 0)
    competition_class.refresh_from_db()
    assert competition_class.version == version + 1
    sheet = Sheet.objects.get(seat__seat="C")
    assert (sheet.version, sheet.marks["G2"], sheet.remarks["2"]) == (1, 65, "remark 2")
    assert sheet.overall_remarks == "a promising pair"
    revision = SheetRevision.objects.get(sheet=sheet)
    assert (revision.source, revision.reason) == ("import", "paper sheets")
    entry = Entry.objects.get(number="1")
    assert (entry.status, entry.result.total) == (Entry.Status.COMPLETED, "65.000")


def test_the_same_again_changes_nothing(competition_class):
    import_marks(competition_class.competition, file(*whole()), by=None)
    competition_class.refresh_from_db()
    assert counts(competition_class, file(*whole())) == (0, 0, 12)
    assert SheetRevision.objects.count() == 1
    assert CompetitionClass.objects.get().version == competition_class.version


def test_a_part_of_a_sheet_makes_the_entry_run_and_empty_cells_say_nothing(competition_class):
    assert counts(competition_class, file("1,1,C,1,7,", "1,1,C,2,,", "1,1,C,3,,only words")) == (2, 0, 0)
    assert Entry.objects.get(number="1").status == Entry.Status.RUNNING
    assert Sheet.objects.get().marks == {"1": 70}


def test_other_marks_than_those_keyed_are_problems_unless_replacing(competition_class):
    import_marks(competition_class.competition, file(*whole(), "1,1,C,,,good"), by=None)
    text = file("1,1,C,2,7,remark 2", "1,1,C,3,6.5,other words", "1,1,C,,,better")
    problems = problems_of(competition_class, text)
    assert [where for where, _ in problems] == ["row 2, mark", "row 3, remark", "row 4, remark"]
    assert problems[0][1].startswith("6.5 is keyed for movement 2 of entry 1 at C, but here stands 7. Correct")
    assert Sheet.objects.get().marks["2"] == 65
    assert counts(competition_class, text, replace=True) == (0, 3, 2)
    sheet = Sheet.objects.get()
    assert (sheet.marks["2"], sheet.remarks["3"], sheet.overall_remarks) == (70, "other words", "better")
    assert sheet.revisions.last().before["marks"]["2"] == 65


def test_a_given_result_is_not_lost_to_marks_without_replacing(competition_class):
    entry = competition_class.entries.get(number="1")
    mark_sheet(entry, "C", marks={}, given_result={"percentage": "67.273"})
    assert [where for where, _ in problems_of(competition_class, file("1,1,C,1,7,"))] == ["row 2, mark"]
    assert counts(competition_class, file("1,1,C,1,7,"), replace=True) == (0, 1, 0)
    assert Sheet.objects.get().given_result is None


@pytest.mark.parametrize(
    ("row", "where", "words"),
    [
        ("1,1,C,1,10.3,", "row 3, mark", "Mark 10.3 for movement 1 is not a step of 0.5."),
        ("1,1,C,1,65,", "row 3, mark", "Mark 65 for movement 1 is above 10."),
        ("1,1,C,G1,-1,", "row 3, mark", "Mark -1 for collective mark G1 is below 0."),
        ("1,1,C,1,six,", "row 3, mark", "not a plain decimal number"),
        ("1,1,C,1,6.5000000000000000001,", "row 3, mark", "not a plain decimal number"),
        ("1,1,C,1,NaN,", "row 3, mark", "not a plain decimal number"),
        ("1,1,C,1,=SUM(A1),", "row 3, mark", "not a plain decimal number"),
        ("1,1,C,99,7,", "row 3, item", 'no item "99". Its items are: 1, 2, 3, 4, G1, G2.'),
        ("1,1,C,g1,7,", "row 3, item", 'no item "g1"'),
        ("1,1,C,,7,", "row 3, item", "names no item"),
        ("1,1,K,1,7,", "row 3, seat", "no seat \"K\". Use: C, B."),
        ("1,1,,1,7,", "row 3, seat", "no seat"),
        ("1,77,C,1,7,", "row 3, number", 'no entry "77"'),
        ("9,1,C,1,7,", "row 3, class", 'no class "9". Its classes are: 1.'),
        ("1,2,C,1,7,again", "row 3, item", "stands already in row 2"),
        (f"1,1,C,1,7,{'x' * 1001}", "row 3, remark", "1001 characters"),
        ("1,1,C,1,7,nul\x00", "row 3, remark", "control character"),
        ('1,1,C,1,7,"open', "row 3", "cannot be read as CSV"),
    ],
)  # fmt: skip
def test_a_bad_row_refuses_the_file_and_is_named(competition_class, row, where, words):
    problems = problems_of(competition_class, file("1,2,C,1,6,", row))
    assert [place for place, _ in problems] == [where]
    assert words in problems[0][1]
    assert not Sheet.objects.exists()


def test_decimal_commas_are_read_where_semicolons_part_the_columns(competition_class):
    assert counts(competition_class, "class;number;seat;item;mark\n1;1;C;1;6,5\n") == (1, 0, 0)
    assert Sheet.objects.get().marks == {"1": 65}


def test_a_seat_marks_only_its_parts():
    document = make_test_document(id="with-parts")
    document["items"][0]["part"] = "artistic"
    rules = rules_document(id="parts", parts={"technical": "1", "artistic": "1"})
    competition_class = make_class(seats="C", entries=1, test=save_test(document), rule_set=save_rule_set(rules))
    competition_class.seats.update(parts=["technical"])
    problems = problems_of(competition_class, file("1,1,C,1,7,"))
    assert problems == [
        ("row 2, item", 'Seat C does not mark the item "1". Correct the seat or the item.'),
    ]


def signatures(*rows: str) -> str:
    return "\n".join(("class,number,seat,item,mark,remark,signed", *rows)) + "\n"


def test_the_row_about_the_whole_sheet_says_whether_it_is_signed(competition_class):
    text = signatures(*(f"{row}," for row in whole()), "1,1,C,,,well ridden,true", "1,1,B,,,,TRUE", "1,2,C,,,,false")
    assert counts(competition_class, text) == (15, 0, 1)
    signed = dict(Sheet.objects.values_list("entry__number", "signed").filter(seat__seat="C"))
    assert signed == {"1": True}
    assert Sheet.objects.get(seat__seat="B").signed
    assert Sheet.objects.get(seat__seat="C").version == 1
    assert counts(competition_class, text) == (0, 0, 16)
    assert counts(competition_class, file("1,1,C,,,well ridden")) == (0, 0, 1)
    assert Sheet.objects.get(seat__seat="C").signed


def test_a_signature_is_taken_back_only_by_a_file_that_is_said_to_be_right(competition_class):
    mark_sheet(competition_class.entries.get(number="1"), "C", signed=True)
    text = signatures("1,1,C,,,,false")
    advice = "Correct the file, or import it with replacing allowed if the file is right."
    assert problems_of(competition_class, text) == [
        ("row 2, signed", f"Sheet C of entry 1 is signed, but here stands false. {advice}"),
    ]
    assert Sheet.objects.get().signed
    assert counts(competition_class, text, replace=True) == (0, 1, 0)
    assert not Sheet.objects.get().signed


@pytest.mark.parametrize(
    ("row", "words"),
    [("1,1,C,1,7,,true", "row without an item"), ("1,1,C,,,,yes", '"yes" is neither true nor false')],
)
def test_a_signature_in_the_wrong_place_or_word_is_named(competition_class, row, words):
    problems = problems_of(competition_class, signatures("1,2,C,1,6,,", row))
    assert [where for where, _ in problems] == ["row 3, signed"]
    assert words in problems[0][1]
    assert not Sheet.objects.exists()


def test_official_results_are_not_changed_by_a_file(competition_class):
    for entry in competition_class.entries.all():
        for seat in "CB":
            mark_sheet(entry, seat)
    make_official(competition_class, by=None, findings_reason="Looked at.")
    before = ClassResults.objects.get().document
    assert counts(competition_class, file("1,1,C,1,6.5,")) == (0, 0, 1)
    problems = problems_of(competition_class, file("1,1,C,1,7,", "1,2,C,1,7,"), replace=True)
    assert [where for where, _ in problems] == ["row 2, class"]
    assert ClassResults.objects.get().document == before
