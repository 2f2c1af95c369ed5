from __future__ import annotations

import pytest

from competitions.models import CompetitionClass, Entry
from competitions.services.entries import set_in_ring
from competitions.services.imports import OUTCOME_COLUMNS, import_outcomes
from competitions.services.results import make_official
from riders.errors import InvalidInput
from tests.builders import make_class, mark_sheet

pytestmark = pytest.mark.django_db

HEADER = ",".join(OUTCOME_COLUMNS)


def file(*rows: str) -> str:
    return "\n".join((HEADER, *rows)) + "\n"


@pytest.fixture
def competition_class() -> CompetitionClass:
    return make_class(entries=2)


def counts(competition_class: CompetitionClass, text: str) -> tuple[int, int, int]:
    summary = import_outcomes(competition_class.competition, text, by=None)
    return summary.created, summary.changed, summary.unchanged


def problems_of(competition_class: CompetitionClass, text: str) -> list[tuple[str, str]]:
    with pytest.raises(InvalidInput) as refused:
        import_outcomes(competition_class.competition, text, by=None)
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    return refused.value.problems


def entry(number: str = "1") -> Entry:
    return Entry.objects.get(number=number)


def test_an_outcome_is_set_once_with_its_history(competition_class):
    text = file("1,1,retired,1,horse not level,,,,,", "1,2,no-show,,,,,,,")
    assert counts(competition_class, text) == (0, 2, 0)
    assert counts(competition_class, text) == (0, 0, 2)
    found = entry()
    assert (found.status, found.errors, found.status_reason) == ("retired", 1, "horse not level")
    assert found.changes.last().before["status"] == "entered"
    assert found.version == 2


def test_several_rows_are_several_deductions_and_replace_those_before(competition_class):
    text = file(
        "1,1,,2,,sheet-points,2,C,,whip carried",
        "1,1,,,,total-percentage,0.5,,,late",
    )
    import_outcomes(competition_class.competition, text, by=None)
    assert entry().deductions == [
        {"off": "sheet-points", "amount": "2", "seat": "C", "reason": "whip carried"},
        {"off": "total-percentage", "amount": "0.5", "seat": None, "reason": "late"},
    ]
    assert counts(competition_class, text) == (0, 0, 1)
    import_outcomes(competition_class.competition, file('1,1,,,,sheet-points,"1,0",,,'), by=None)
    assert entry().deductions == [{"off": "sheet-points", "amount": "1", "seat": None, "reason": ""}]
    assert entry().errors == 2


def test_completed_follows_the_marks_and_is_not_made_up(competition_class):
    assert counts(competition_class, file("1,1,completed,0,,,,,,")) == (0, 0, 1)
    assert entry().status == Entry.Status.ENTERED
    mark_sheet(entry("2"))
    import_outcomes(competition_class.competition, file("1,2,eliminated,,blood,,,,,"), by=None)
    import_outcomes(competition_class.competition, file("1,2,completed,,,,,,,"), by=None)
    assert entry("2").status == Entry.Status.COMPLETED


def test_an_entry_that_is_out_leaves_the_ring(competition_class):
    set_in_ring(competition_class, entry=entry(), by=None)
    import_outcomes(competition_class.competition, file("1,1,retired,,,,,,,"), by=None)
    competition_class.refresh_from_db()
    assert competition_class.in_ring is None


@pytest.mark.parametrize(
    ("row", "where"),
    [
        ("1,1,finished,,,,,,,", "row 3, status"),
        ("1,1,,-1,,,,,,", "row 3, errors"),
        ("1,1,,1.5,,,,,,", "row 3, errors"),
        (f"1,1,,,{'x' * 301},,,,,", "row 3, reason"),
        ("1,1,,,,sheet-points,,,,", "row 3, deduction_amount"),
        ("1,1,,,,sheet-points,0,,,", "row 3, deduction_amount"),
        ("1,1,,,,sheet-points,two,,,", "row 3, deduction_amount"),
        ("1,1,,,,everything,2,,,", "row 3, deduction_off"),
        ("1,1,,,,,2,,,", "row 3, deduction_off"),
        ("1,1,,,,sheet-points,2,K,,", "row 3, deduction_seat"),
        ("1,1,,,,sheet-points,2,,artistic,", "row 3, deduction_part"),
        ("1,9,retired,,,,,,,", "row 3, number"),
        ("1,2,eliminated,,,,,,,", "row 3, status"),
        ("1,1,retired", "row 3"),
    ],
)
def test_a_bad_row_refuses_the_file_and_is_named(competition_class, row, where):
    assert [place for place, _ in problems_of(competition_class, file("1,2,retired,,,,,,,", row))] == [where]
    assert set(Entry.objects.values_list("status", flat=True)) == {"entered"}


def test_official_results_are_not_changed_by_a_file(competition_class):
    for found in competition_class.entries.all():
        mark_sheet(found)
    make_official(competition_class, by=None, findings_reason="Looked at.")
    assert counts(competition_class, file("1,1,,0,,,,,,")) == (0, 0, 1)
    assert problems_of(competition_class, file("1,1,,1,,,,,,"))[0][0] == "row 2, class"
