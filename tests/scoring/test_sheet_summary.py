from __future__ import annotations

from fractions import Fraction

import pytest

import scoring
from tests.scoring.documents import FREESTYLE, TEST

RULES = scoring.read_rules(scoring.rule_sets()["points-errors-collectives"])
NOVICE = scoring.read_test(TEST)
PARTS = scoring.read_rules(scoring.rule_sets()["freestyle-artistic"])
MUSIC = scoring.read_test(FREESTYLE)


def summary(marks, *, test=NOVICE, rules=RULES, **more):
    found = scoring.sheet_summary(test, rules, marks, **more)
    return found.points, found.maximum, found.percentage, found.complete, found.missing


def test_full_sheet():
    assert summary({"1": 65, "4": 70, "G1": 70}) == ("27.5", "40", "68.750", True, ())


def test_incomplete_sheet_is_over_the_items_marked():
    assert summary({"1": 65, "4": None}) == ("6.5", "10", "65.000", False, ("4", "G1"))


def test_empty_sheet():
    assert summary({}) == ("0", "0", None, False, ("1", "4", "G1"))


def test_what_comes_off_the_sheet():
    marks = {"1": 65, "4": 70, "G1": 70}
    whip = {"off": "sheet-points", "amount": "2", "seat": "C", "reason": "whip"}
    late = {"off": "total-percentage", "amount": "0.5"}
    assert summary(marks, errors=2)[:3] == ("21.5", "40", "53.750")
    assert summary(marks, errors=1, deductions=[whip, late])[:3] == ("23.5", "40", "58.750")
    assert summary(marks, deductions=[scoring.Deduction("sheet-points", Fraction(100))])[:3] == ("0", "40", "0.000")


def test_parts():
    marks = {"1": 60, "2": 60, "A1": 71}
    assert summary(marks, test=MUSIC, rules=PARTS) == ("46.4", "70", "65.500", True, ())
    assert summary({"1": 60}, test=MUSIC, rules=PARTS, parts=["technical"]) == ("6", "10", "60.000", False, ("2",))


@pytest.mark.parametrize(
    ("marks", "words"), [({"9": 65}, 'no item "9"'), ({"1": 66}, "not on its scale"), ({"1": 110}, "not on its scale")]
)
def test_marks_that_do_not_belong(marks, words):
    with pytest.raises(ValueError, match=words):
        summary(marks)


def test_a_bad_deduction():
    with pytest.raises(scoring.InvalidDocument):
        summary({"1": 65}, deductions=[{"off": "luck", "amount": "1"}])
