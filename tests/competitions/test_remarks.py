from __future__ import annotations

from datetime import date

import pytest

from competitions.selectors.remarks import EarlierSheet, coming_back, costliest, only_praises, qualities_in, seen_before
from competitions.selectors.sheets import SheetLine, SheetView
from scoring import SheetSummary


@pytest.mark.parametrize(
    ("remark", "qualities"),
    [
        ("Needs more bend", {"bend"}),
        ("more bend, more active", {"bend", "impulsion"}),
        ("Good, regular", set()),
        ("irregular", {"rhythm"}),
        ("straight", set()),
        ("not straight", {"straightness"}),
        ("Tense; hurried", {"suppleness", "rhythm"}),
        ("tendency to drift", {"straightness"}),
        ("late at the letter", {"accuracy"}),
        ("could overtrack more", {"ground cover"}),
        ("Good bend but lost balance", {"balance"}),
        ("Walk rhythm kept; hind feet could stay more active.", {"impulsion"}),
        ("Stretches willingly", set()),
        ("", set()),
        ("…", set()),
    ],
)
def test_a_remark_names_the_qualities_that_it_finds_wanting(remark: str, qualities: set[str]):
    assert qualities_in(remark) == qualities


@pytest.mark.parametrize(
    ("remark", "praises"),
    [("Well ridden", True), ("Good, regular.", True), ("Good, but late", False), ("more bend", False)],
)
def test_praise_is_no_pointer_to_what_to_practise(remark: str, praises: bool):
    assert only_praises(remark) is praises


def view(seat: str, *lines: tuple[str, str | None, str, str]) -> SheetView:
    """Make a sheet of one seat from (item, mark, points lost, remark)."""
    return SheetView(
        sheet_id=1,
        version=1,
        seat=seat,
        judge="",
        number="1",
        rider="Rider",
        horse="Horse",
        lines=tuple(
            SheetLine(
                item_id=item,
                at="A",
                text=f"Movement {item}",
                directive="",
                family="",
                coefficient="1",
                collective=False,
                part="technical",
                mark=mark,
                points=None,
                lost=lost if mark else None,
                remark=remark,
                substitute=False,
            )
            for item, mark, lost, remark in lines
        ),
        overall_remarks="",
        errors=0,
        deductions=(),
        given_result=None,
        typed_total="",
        summary=SheetSummary("0", "0", None, False, ()),
        signed=False,
        changed_at=None,
        lost=(),
    )


def test_most_is_lost_where_all_sheets_together_lost_most_and_sums_are_exact():
    views = [
        view("C", ("1", "6.5", "3.5", ""), ("2", "7", "6", "late"), ("3", "10", "0", "perfect")),
        view("B", ("1", "3.3", "6.7", "more bend"), ("2", "8", "4", "Well ridden"), ("3", "10", "0", "")),
    ]
    found = costliest(views)
    assert [(costly.item.item_id, costly.lost) for costly in found] == [("1", "10.2"), ("2", "10")]
    assert [(said.seat, said.words) for said in found[1].remarks] == [("C", "late")]


def test_a_remark_comes_back_when_two_marks_not_above_the_middle_name_the_same_quality():
    sheet = view(
        "C",
        ("1", "5", "5", "more bend"),
        ("2", "6", "4", "needs more bend"),
        ("3", "6.5", "3.5", ""),
        ("4", "9", "1", "bend"),
    )
    (group,) = coming_back([sheet])
    assert (group.quality, group.number, group.more) == ("bend", 2, 0)
    assert [words for words, _ in group.words] == ["more bend", "needs more bend"]


def test_equal_words_are_put_together_and_a_long_list_is_cut_with_its_count():
    sheet = view("C", *((str(n), "6", "4", f"bend {'x' * n}" if n > 2 else "bend") for n in range(1, 10)))
    (group,) = coming_back([sheet])
    assert [said.item for _, seats in group.words[:1] for _, places in seats for said in places] == ["1", "2"]
    assert len(group.words) == 5
    assert group.number == 9
    assert group.more == 3


def test_a_quality_that_repeats_the_remarks_of_another_is_left_out():
    sheet = view("C", ("1", "6", "4", "hollow in transition"), ("2", "6", "4", "hollow in transition"))
    assert [group.quality for group in coming_back([sheet])] == ["contact"]


def test_earlier_sheets_are_named_only_for_what_is_found_wanting_again():
    sheet = view("C", ("1", "6", "4", "more bend"))
    earlier = [
        EarlierSheet(when=date(2026, 5, 1), where="Spring", seat="C", remarks=("lacks bend", "crooked")),
        EarlierSheet(when=date(2026, 4, 1), where="Early", seat="B", remarks=("good bend",)),
    ]
    (group,) = seen_before([sheet], earlier)
    assert group.quality == "bend"
    assert [(before.where, words) for before, words in group.earlier] == [("Spring", "lacks bend")]
