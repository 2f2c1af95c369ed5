from __future__ import annotations

from datetime import date
from fractions import Fraction
from itertools import product
from random import Random
from typing import Any

import pytest
from scipy.stats import binomtest

from scoring import season

GROUP = (("level", "novice"),)


def scheme(**changes: object) -> season.Scheme:
    return season.read_scheme(
        {
            "format": "scheme/1",
            "id": "chances",
            "unit": "pair",
            "group_by": ["level"],
            "season": {"from": "2026-10-01", "to": "2027-09-30"},
            "require": [{"count": "scores", "at_least": 4}],
            "value": {"aggregate": "mean", "take": {"best": 2}},
            "threshold": {"at_least": "66"},
        }
        | changes
    )


def ledger(*percentages: str, **fields: str) -> tuple[season.Score, ...]:
    return season.scores_from_rows(
        {
            "score_id": f"s{n}", "pair": "P1", "level": "novice", "kind": "set", "status": "completed",
            "date": f"2026-11-{n + 1:02}", "competition": f"c{n}", "percentage": value,
        } | fields
        for n, value in enumerate(percentages)
    )  # fmt: skip


def test_the_draws_are_those_of_the_seed_and_each_is_decided_exactly():
    # With one more ride x the best two are 65 and max(x, 64): 65 or more on average only if x is 65 or more.
    form = ("60", "64", "65")
    rule = scheme(threshold={"at_least": "65"})
    (chance, *_) = season.compute_chances(rule, ledger(*form), unit="P1", draws=200, seed=7)[GROUP]
    random = Random(7)
    drawn = [random.choices([Fraction(value) for value in form], k=1)[0] for _ in range(200)]
    assert (chance.rides, chance.draws, chance.seed) == (1, 200, 7)
    assert chance.reached == sum(value >= 65 for value in drawn)
    assert chance == season.compute_chances(rule, ledger(*form), unit="P1", draws=200, seed=7)[GROUP][0]


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({}, id="the best two"),
        pytest.param({"value": {"aggregate": "median"}, "threshold": {"at_least": "64.5"}}, id="median of all"),
        pytest.param({"require": [{"count": "scores", "at_least": 5}, {"count": "scores", "at_least": 3,
                      "where": [{"field": "percentage", "at_least": "65"}]}], "threshold": None}, id="three above"),
        pytest.param({"limit": [{"keep": "best", "number": 1, "per": ["competition"]}]}, id="one a competition"),
        pytest.param({"value": {"aggregate": "mean", "drop_lowest": {"number": 1, "when_more_than": 4}},
                      "threshold": {"at_least": "65"}}, id="the lowest dropped"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("form", [("61", "63", "67"), ("58.5", "63", "64", "66.5")])
def test_the_estimate_agrees_with_all_seasons_that_can_be_drawn(form: tuple[str, ...], changes: dict[str, Any]):
    """Every sequence of further rides is laid in the ledger and the standings are computed: the exact chance.

    The draws are binomial about it; SciPy's exact test refuses what happens once in a million times at most.
    """
    rule = scheme(**changes)
    chances = season.compute_chances(rule, ledger(*form), unit="P1")[GROUP]
    compared = [chance for chance in chances if len(form) ** chance.rides <= 300]
    for chance in compared:
        every = list(product(form, repeat=chance.rides))
        reached = sum(qualified(rule, ledger(*form, *rides)) for rides in every)
        assert binomtest(chance.reached, chance.draws, reached / len(every)).pvalue > 1e-6
    assert compared


def qualified(rule: season.Scheme, scores: tuple[season.Score, ...]) -> bool:
    (row,) = season.compute_standings(rule, scores).rows()
    return bool(row.qualified)


def test_a_form_far_above_the_bar_is_certain_and_one_far_below_is_hopeless():
    (sure, *_) = season.compute_chances(scheme(), ledger("70", "71", "72"), unit="P1")[GROUP]
    (vain, *_) = season.compute_chances(scheme(), ledger("50", "51", "52"), unit="P1")[GROUP]
    assert (sure.percent, vain.percent) == ("100", "0")


def test_rides_too_low_to_count_are_form_too_and_rides_hors_concours_are_not():
    rule = scheme(eligible=[{"field": "percentage", "at_least": "62"}])
    scores = ledger("60", "64", "65", "70")
    (chance, *_) = season.compute_chances(rule, scores, unit="P1")[GROUP]
    assert chance.form == (60, 64, 65, 70)
    out = season.scores_from_rows(
        [{"score_id": "x", "pair": "P1", "level": "novice", "kind": "set", "percentage": "80", "hors_concours": "true"}]
    )
    assert season.compute_chances(rule, (*scores, *out), unit="P1")[GROUP][0].form == (60, 64, 65, 70)


@pytest.mark.parametrize(
    ("percentages", "as_of"),
    [(("64", "65"), None), (("70", "71", "72", "73"), None), (("64", "65", "60"), date(2027, 10, 1))],
    ids=["too few scores", "qualified", "no day left"],
)
def test_nothing_is_said_where_nothing_can_be_estimated(percentages: tuple[str, ...], as_of: date | None):
    assert season.compute_chances(scheme(), ledger(*percentages), unit="P1", as_of=as_of) == {}


@pytest.mark.parametrize(
    ("reached", "percent"), [(0, "0"), (1, "1"), (5, "1"), (415, "42"), (999, "99"), (1000, "100")]
)
def test_what_a_draw_contradicts_is_never_called_certain(reached: int, percent: str):
    assert season.Chance(1, reached, 1000, 1, ()).percent == percent
