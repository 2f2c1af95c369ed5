"""The shipped rule sets: each is good, named as its file, sourced, and says what it does."""

from __future__ import annotations

import pytest

import scoring

NAMES = sorted(scoring.rule_sets())


@pytest.mark.parametrize("name", NAMES)
def test_each_is_good_and_has_sources(name):
    rules = scoring.read_rules(scoring.rule_sets()[name])
    assert rules.id == name
    assert rules.title
    assert rules.sources


def test_no_two_do_the_same():
    said = [tuple(scoring.describe_rules(scoring.read_rules(rules))) for rules in scoring.rule_sets().values()]
    assert len(set(said)) == len(said)


def test_a_changed_copy_changes_nothing_shipped():
    scoring.rule_sets()["sum-of-points"]["total"]["method"] = "mean"
    assert scoring.rule_sets()["sum-of-points"]["total"]["method"] == "points"


@pytest.mark.parametrize(
    ("name", "errors", "eliminated_at", "costs"),
    [
        ("points-errors-collectives", "sheet-points", 3, [2, 6]),  # horsesdaily.com, 2016; knhs.nl Art. 128
        ("half-and-one-percent", "total-percentage", 3, [0.5, 1.5]),  # horsesdaily.com, 2016
        ("two-percent-median-first-place", "total-percentage", 2, [2]),  # horsesdaily.com, 2016; dressagetoday.com
        ("freestyle-artistic", "total-percentage", 3, [1, 3]),  # knhs.nl Art. 128
        ("two-four-eight-points", "sheet-points", 4, [2, 6, 14]),  # hippoline.lu/flse par. 404
        ("one-overall-mark", "sheet-points", 3, [0.2, 0.6]),  # expydoc.com/doc/1896023
    ],
)
def test_costs_of_errors(name, errors, eliminated_at, costs):
    rules = scoring.read_rules(scoring.rule_sets()[name])
    assert rules.errors.off == errors
    assert rules.errors.eliminated_at == eliminated_at
    assert [float(rules.errors.cost(number)) for number in range(1, eliminated_at)] == costs
    assert [rules.errors.eliminate(number) for number in range(eliminated_at + 1)] == [False] * eliminated_at + [True]


def described(**changes):
    return scoring.describe_rules(scoring.read_rules(scoring.rule_sets()["points-errors-collectives"] | changes))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"sheet_percentage": {"decimals": None}}, "Each sheet's percentage is kept exact."),
        ({"rounding": "half-even"}, "An exact half is rounded to the even figure."),
        ({"rounding": "down"}, "Figures are cut, never rounded up."),
        ({"errors": None}, "Errors of course cost nothing."),
        (
            {"errors": {"off": "sheet-points", "steps": [], "eliminated_at": 3}},
            "Errors of course cost nothing until the third, which eliminates.",
        ),
        (
            {"errors": {"off": "sheet-points", "steps": ["2"], "eliminated_at": 1}},
            "The first error of course eliminates.",
        ),
        (
            {"errors": {"off": "sheet-points", "steps": ["2"], "eliminated_at": None}},
            "The first error of course costs 2 points, each further one 2 points more, off every sheet.",
        ),
        (
            {"errors": {"off": "total-percentage", "steps": ["0.5", "1", "9"], "eliminated_at": 3}},
            (
                "The first error of course costs 0.5 per cent, the second 1 per cent more, once off the total. "
                "The third eliminates."
            ),
        ),
        ({"ties": []}, "Equal totals share the place, and the next place is skipped."),
        (
            {"ties": [{"by": "item", "item": "14"}, {"by": "seat", "seat": "C"}], "tie_places": 1},
            (
                "Equal totals for first place are parted by item 14, then the percentage of seat C, the higher first. "
                "What stays equal shares the place."
            ),
        ),
        (
            {"ties": [{"by": "collectives-at", "seat": "C"}], "tie_places": 3},
            (
                "Equal totals for places 1 to 3 are parted by the collective marks of seat C, the higher first. "
                "What stays equal shares the place."
            ),
        ),
        ({"minimum_for_place": "60"}, "A total below 60 per cent is listed without a place."),
        ({"hors_concours": "hidden"}, "Rides hors concours are left out of the published list."),
        (
            {"outliers": {"limit": "6", "min_sheets": 7}},
            (
                "Where an entry has 7 sheets or more, a sheet that differs by 6 or more from the mean of the others is "
                "moved to the nearest other."
            ),
        ),
        (
            {"penalty": {"factor": "1.5", "decimals": 1}},
            "The penalty is 100 less the total, times 1.5, rounded to 1 decimal. The lowest penalty wins.",
        ),
        (
            {"total": {"method": "points", "decimals": 0}},
            "The total is all points of all sheets over all their maxima, as one percentage rounded to a whole number.",
        ),
        (
            {"parts": {"technical": "1", "artistic": "1"}},
            "Errors in points come off the part technical.",
        ),
    ],
)
def test_sentences_follow_the_data(changes, sentence):
    assert sentence in described(**changes)
