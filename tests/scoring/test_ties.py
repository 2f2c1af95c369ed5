"""Hand-made ties: the places and how each came about."""

from __future__ import annotations

from fractions import Fraction

import pytest

import scoring
from scoring.outliers import moved_outliers
from scoring.placings import natural_order, placings
from scoring.rulesets import Outliers, TieStep

FIRST, SECOND = TieStep("collectives"), TieStep("median")


def place(totals, first=None, second=None, *, steps=(FIRST, SECOND), tie_places=None):
    figures = {FIRST: first or {}, SECOND: second or {}}
    rows = placings(totals, steps=steps, tie_places=tie_places, figure=lambda number, step: figures[step].get(number))
    return {row.number: (row.place, row.shared) for row in rows}


def test_equal_totals_share_and_the_next_place_is_skipped():
    """Common practice: 68, 66, 66, 64 are 1, 2, 2, 4."""
    found = place({"a": 68, "b": 66, "c": 66, "d": 64}, steps=())
    assert found == {"a": (1, False), "b": (2, True), "c": (2, True), "d": (4, False)}


def test_a_second_step_sees_only_those_still_together():
    totals = dict.fromkeys("abcd", 70)
    first = {"a": 10, "b": 9, "c": 9, "d": 8}
    second = {"a": 1, "b": 2, "c": 3, "d": 100}
    assert place(totals, first, second) == {"a": (1, False), "c": (2, False), "b": (3, False), "d": (4, False)}


def test_what_no_step_separates_shares_below_what_was_separated():
    totals = dict.fromkeys("abc", 70)
    assert place(totals, {"a": 9, "b": 8, "c": 8}, dict.fromkeys("abc", 5)) == {
        "a": (1, False),
        "b": (2, True),
        "c": (2, True),
    }


def test_a_step_that_lacks_a_figure_separates_nothing_but_the_next_may():
    totals = dict.fromkeys("ab", 70)
    assert place(totals, {"a": 9}, {"a": 1, "b": 2}) == {"b": (1, False), "a": (2, False)}
    assert place(totals, {"a": 9}, {}) == {"a": (1, True), "b": (1, True)}


def test_steps_only_for_the_first_places():
    totals = {"a": 70, "b": 70, "c": 65, "d": 65}
    figures = {"a": 1, "b": 2, "c": 3, "d": 4}
    assert place(totals, figures, tie_places=1) == {"b": (1, False), "a": (2, False), "c": (3, True), "d": (3, True)}
    assert place(totals, figures, tie_places=3)["d"] == (3, False)


def test_a_tie_that_is_left_at_a_later_place_is_not_separated_there():
    """Three share place 2; the first step leaves two of them at place 3, beyond tie_places."""
    totals = {"x": 80, "a": 70, "b": 70, "c": 70}
    found = place(totals, {"a": 9, "b": 8, "c": 8}, {"b": 1, "c": 2}, tie_places=2)
    assert found == {"x": (1, False), "a": (2, False), "b": (3, True), "c": (3, True)}


def test_one_step_parts_all_who_share_an_allowed_place():
    """Sharing place 2 with tie_places 2, three different figures give 2, 3 and 4."""
    totals = {"x": 80, "a": 70, "b": 70, "c": 70}
    found = place(totals, {"a": 9, "b": 8, "c": 7}, tie_places=2)
    assert [found[name] for name in "abc"] == [(2, False), (3, False), (4, False)]


def test_natural_order():
    numbers = ["12", "9", "A10", "A2", "10b", "10", "", "007", "7", "9" * 5000]
    assert sorted(numbers, key=natural_order) == ["", "007", "7", "9", "10", "10b", "12", "9" * 5000, "A2", "A10"]


def moves(values, *, limit="6", least=7):
    panel = {f"S{index}": value for index, value in enumerate(values)}
    found = moved_outliers(panel, Outliers(Fraction(limit), least), percent_unit=1)
    return [(move.given, move.moved_to) for move in found]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([70, 70, 70, 70, 70, 70, 76], [(76, 70)]),  # exactly the limit is enough
        ([70, 70, 70, 70, 70, 70, 75], []),
        ([60, 70, 71, 72, 70, 70, 70], [(60, 70)]),
        ([60, 90, 70, 70, 70, 70, 70], [(90, 70), (60, 70)]),  # the largest gap first
        ([60, 80, 70, 70, 70, 70, 70], [(60, 70), (80, 70)]),  # of equal gaps the lower sheet first
        ([70, 70, 70, 70, 70, 80], []),  # six sheets are too few
    ],
)
def test_outliers(values, expected):
    assert moves(values) == expected


def test_a_sheet_is_moved_once_even_when_it_still_stands_out():
    """60 goes to its nearest neighbour 61, which is far off too, but has 61 beside it now and so stays where it is."""
    assert moves([60, 61, 80, 80, 80, 80, 80]) == [(60, 61)]


def test_of_two_others_equally_near_the_one_towards_the_mean_is_taken():
    """Once 48 is at 50, the sheet of 60 has 50 and 70 equally near; the mean of the others is above it."""
    assert moves([48, 50, 60, 70, 90, 90, 90, 90]) == [(48, 50), (60, 70)]


def equal_class(rule, *, marks):
    test = {
        "format": "test/1",
        "id": "t",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": [{"id": "1"}, {"id": "2", "coefficient": "2"}, {"id": "G1", "collective": True}],
    }
    entries = [
        {
            "number": number,
            "status": "completed",
            "sheets": {
                seat: {"marks": dict(zip(("1", "2", "G1"), values, strict=True))} for seat, values in sheets.items()
            },
        }
        for number, sheets in marks.items()
    ]
    seats = list(next(iter(marks.values())))
    document = {
        "format": "class/1",
        "id": "c",
        "test": test,
        "rules": rule,
        "panel": [{"seat": seat} for seat in seats],
        "entries": entries,
    }
    return {row.number: row for row in scoring.compute_results(scoring.read_class(document)).entries}


# three rides with 27.5 points from each seat
MARKS = {
    "1": {"C": ("7", "7", "6.5"), "E": ("7", "7", "6.5")},
    "2": {"C": ("6.5", "7", "7"), "E": ("7.5", "7", "6")},
    "3": {"C": ("6", "7.5", "6.5"), "E": ("7", "7", "6.5")},
}


@pytest.mark.parametrize(
    ("step", "places", "values"),
    [
        ({"by": "collectives"}, {"1": 1, "2": 1, "3": 1}, {"1": None, "2": None, "3": None}),
        ({"by": "coefficient-items"}, {"1": 2, "2": 2, "3": 1}, {"1": "28", "2": "28", "3": "29"}),
        ({"by": "item", "item": "1"}, {"1": 1, "2": 1, "3": 3}, {"1": "14", "2": "14", "3": "13"}),
        ({"by": "collectives-at", "seat": "C"}, {"1": 2, "2": 1, "3": 2}, {"1": "6.5", "2": "7", "3": "6.5"}),
        ({"by": "median"}, {"1": 1, "2": 1, "3": 1}, {"1": None, "2": None, "3": None}),
        ({"by": "seat", "seat": "E"}, {"1": 1, "2": 1, "3": 1}, {"1": None, "2": None, "3": None}),
    ],
)
def test_each_step_by_hand(step, places, values):
    """Seats C and E each give 27.5 of 40; sums by hand over both sheets."""
    found = equal_class(scoring.rule_sets()["points-errors-collectives"] | {"ties": [step]}, marks=MARKS)
    assert {row.total for row in found.values()} == {"68.750"}
    assert {number: row.placing for number, row in found.items()} == places
    assert {number: row.tie.value for number, row in found.items()} == values
    assert all(set(row.tie.others) == {"1", "2", "3"} - {number} for number, row in found.items())


def test_a_step_says_by_what_each_entry_was_parted():
    rule = scoring.rule_sets()["points-errors-collectives-coefficients"]
    rule["ties"] = [{"by": "coefficient-items"}, {"by": "collectives-at", "seat": "C"}]
    found = equal_class(rule, marks=MARKS)
    assert {number: (row.placing, row.shared, row.tie.step, row.tie.value) for number, row in found.items()} == {
        "3": (1, False, "coefficient-items", "29"),
        "2": (2, False, "collectives-at", "7"),
        "1": (3, False, "collectives-at", "6.5"),
    }


def test_a_median_or_a_seat_counts_a_moved_sheet_where_it_was_moved_to():
    """Seat E gives 50 and 80; both are moved to 70 or near it, so that E itself parts nothing any more."""
    rule = scoring.rule_sets()["seven-seats-outliers"]
    rule |= {"outliers": {"limit": "6", "min_sheets": 3}, "ties": [{"by": "seat", "seat": "E"}], "errors": None}
    entries = [
        {
            "number": number,
            "status": "completed",
            "sheets": {"C": {"percentage": "70"}, "H": {"percentage": "70"}, "E": {"percentage": given}},
        }
        for number, given in (("1", "50"), ("2", "80"))
    ]
    document = {
        "format": "class/1",
        "id": "c",
        "test": None,
        "rules": rule,
        "panel": [{"seat": seat} for seat in "CHE"],
        "entries": entries,
    }
    found = scoring.compute_results(scoring.read_class(document)).entries
    assert [(row.total, row.placing, row.shared) for row in found] == [("70.000", 1, True)] * 2
    assert [(row.sheets["E"].place, row.sheets["E"].adjusted_to) for row in found] == [(2, "70.000"), (1, "70.000")]
