"""Laws of standings on random ledgers, and outside references for the arithmetic."""

import statistics
from fractions import Fraction

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scoring import season
from scoring.exact import Rounding, format_units, round_to_units
from tests.scoring.season.season_builders import scheme

ROW = st.fixed_dictionaries(
    {
        "pair": st.sampled_from(["P1", "P2", "P3", ""]),
        "level": st.sampled_from(["novice", "medium", ""]),
        "percentage": st.integers(50_000, 70_000).map(lambda n: f"{n // 1000}.{n % 1000:03d}") | st.just(""),
        "judges": st.sampled_from(["J1", "J2", "J1;J2", ""]),
        "competition": st.sampled_from(["C1", "C2", "C3", ""]),
        "class": st.sampled_from(["K1", "K2"]),
        "kind": st.sampled_from(["set", "freestyle", ""]),
        "placing": st.sampled_from(["1", "2", "3", ""]),
        "starters": st.sampled_from(["3", "9", ""]),
        "member": st.sampled_from(["true", "true", "false", ""]),
        "date": st.sampled_from(["2026-12-31", "2027-01-01", "2027-02-01", ""]),
    }
)
LEDGER = st.lists(ROW, max_size=14).map(lambda rows: [{"score_id": f"s{n}", **row} for n, row in enumerate(rows)])
RULES = st.sampled_from(
    [
        scheme(),
        scheme(
            group_by=["level"],
            eligible=[{"field": "member", "is": True}],
            limit=[{"keep": "best", "number": 1, "per": ["competition"]}],
            require=[{"count": "scores", "at_least": 2}, {"count": "judges", "at_least": 2}],
            value={"aggregate": "median", "drop_lowest": {"number": 1, "when_more_than": 2, "protect": True}},
            ties=[{"by": "best-score"}, {"by": "more-scores"}],
        ),
        scheme(
            season={"from": "2027-01-01", "to": "2027-12-31"},
            rerank=["class"],
            score=[{"places": {"1": "6", "2": "4", "*": "1"}, "shared": "mean"}, {"plus": [{"divide": "10"}]}],
            value={"aggregate": "sum", "take": {"best": 2, "must": [{"count": "competitions", "at_least": 2}]}},
            after=[{"places": 2}],
        ),
        scheme(
            value={"first": {"by": ["kind"], "aggregate": "mean"}, "aggregate": "sum"},
            require=[{"count": "competitions", "share_of_competitions": "0.5"}],
            order="ascending",
        ),
        scheme(
            value={
                "first": {
                    "by": ["competition"],
                    "aggregate": "mean",
                    "take": {"best": 2, "must": [{"count": "judges", "at_least": 2}]},
                },
                "aggregate": "sum",
            },
        ),
        scheme(
            mode="achieve",
            tiers=[{"name": name, "require": [{"count": "scores", "at_least": n}]} for name, n in (("a", 3), ("b", 1))],
        ),
    ]
)


def computed(rule, rows):
    return season.compute_standings(rule, season.scores_from_rows(rows))


@settings(max_examples=150, deadline=None)
@given(RULES, LEDGER, st.randoms(use_true_random=False))
def test_the_order_of_the_ledger_does_not_matter(rule, rows, random):
    shuffled = random.sample(rows, len(rows))
    assert computed(rule, rows) == computed(rule, shuffled)


@settings(max_examples=150, deadline=None)
@given(RULES, LEDGER)
def test_every_score_is_explained_once_and_counted_and_dropped_agree(rule, rows):
    standings = computed(rule, rows)
    explained = [entry for part in (*standings.rows(), *standings.left_out) for entry in part.explanations]
    assert sorted(score_id for score_id, _, _ in explained) == sorted(row["score_id"] for row in rows)
    assert all(sentence.endswith(".") for _, _, sentence in explained)
    for row in standings.rows():
        for state, listed in (("counted", row.counted), ("dropped", row.dropped)):
            assert [score_id for score_id, found, _ in row.explanations if found == state] == list(listed)


@settings(max_examples=150, deadline=None)
@given(RULES, LEDGER)
def test_places_follow_the_values_and_skip_after_shared_ones(rule, rows):
    for group in computed(rule, rows).groups:
        placed = [row for row in group.rows if row.placing is not None]
        assert list(group.rows[: len(placed)]) == placed
        for index, row in enumerate(placed):
            better = [other for other in placed if other.rank_key() > row.rank_key()]
            assert row.placing == len(better) + 1
            assert row.shared == (sum(other.placing == row.placing for other in placed) > 1)
            assert index == 0 or placed[index - 1].merit >= row.merit
        flags = [row.qualified for row in group.rows]
        assert flags == sorted(flags, reverse=True)


@settings(max_examples=150, deadline=None)
@given(RULES, LEDGER, st.sampled_from(["P1", "P2"]))
def test_rows_of_one_unit_alone_are_the_rows_of_the_whole(rule, rows, unit):
    scores = season.scores_from_rows(rows)
    whole = {row.group: row for row in season.compute_standings(rule, scores).rows() if row.unit == unit}
    part = {row.group: row for row in season.compute_standings(rule, scores, units={unit}).rows()}
    assert part.keys() == whole.keys()
    for group, row in part.items():
        same = ("value", "counted", "dropped", "requirements", "explanations", "tie_keys", "merit")
        assert [getattr(row, name) for name in same] == [getattr(whole[group], name) for name in same]


@settings(max_examples=100, deadline=None)
@given(LEDGER, st.integers(0, 13), st.integers(1, 5000))
def test_a_higher_percentage_never_lowers_a_mean_a_median_or_a_sum_of_the_best(rows, index, more):
    if index >= len(rows) or not rows[index]["percentage"]:
        return
    raised = [dict(row) for row in rows]
    step = int(Fraction(rows[index]["percentage"]) * 1000) + more
    raised[index]["percentage"] = f"{step // 1000}.{step % 1000:03d}"
    for value in (
        {"aggregate": "mean"}, {"aggregate": "median"}, {"aggregate": "sum", "take": {"best": 2}},
        {"aggregate": "median", "take": {"best": 3, "must": [{"count": "judges", "at_least": 2}]}},
    ):  # fmt: skip
        before = {row.unit: row.merit for row in computed(scheme(value=value), rows).rows()}
        after = {row.unit: row.merit for row in computed(scheme(value=value), raised).rows()}
        assert before.keys() == after.keys()
        assert all(merit is None or after[unit] >= merit for unit, merit in before.items())


NUMBERS = st.lists(st.integers(0, 100_000), min_size=1, max_size=12)


@settings(deadline=None)
@given(NUMBERS)
def test_means_medians_and_sums_are_those_of_the_standard_library(steps):
    rows = [
        {"score_id": f"s{n}", "pair": "P1", "percentage": f"{step // 1000}.{step % 1000:03d}"}
        for n, step in enumerate(steps)
    ]
    exact = [Fraction(step, 1000) for step in steps]
    outside = {
        "mean": statistics.mean(exact),
        "median": statistics.median(exact),
        "sum": sum(exact),
        "best": max(exact),
    }
    for how, expected in outside.items():
        (row,) = computed(scheme(value={"aggregate": how}, decimals=6), rows).rows()
        units = round_to_units(Fraction(expected), decimals=6, rounding=Rounding.HALF_UP)
        assert row.value == format_units(units, decimals=6)
    assert np.isclose(float(outside["mean"]), np.mean(steps) / 1000)


@settings(deadline=None)
@given(st.lists(st.integers(600, 610), min_size=1, max_size=12))
def test_places_are_the_minimum_ranks_of_pandas_and_scipy(tenths):
    rows = [
        {"score_id": f"s{n}", "pair": f"P{n}", "percentage": f"{tenth // 10}.{tenth % 10}"}
        for n, tenth in enumerate(tenths)
    ]
    places = {row.unit: row.placing for row in computed(scheme(), rows).rows()}
    found = [places[f"P{n}"] for n in range(len(tenths))]
    assert found == pd.Series(tenths).rank(method="min", ascending=False).astype(int).tolist()
    assert found == stats.rankdata([-tenth for tenth in tenths], method="min").astype(int).tolist()


@settings(max_examples=100, deadline=None)
@given(LEDGER, st.integers(1, 3), st.integers(0, 4))
def test_the_protected_drop_is_the_one_worked_out_step_by_step(rows, number, when_more_than):
    needs = [{"count": "judges", "at_least": 2}, {"count": "competitions", "at_least": 2}]
    drop = {"number": number, "when_more_than": when_more_than, "protect": True}
    rule = scheme(require=needs, value={"aggregate": "sum", "drop_lowest": drop})
    for row in computed(rule, rows).rows():
        mine = {r["score_id"]: r for r in rows if r["pair"] == row.unit and r["percentage"]}
        assert set(row.dropped) == dropped_by_hand(mine, number, when_more_than)


def dropped_by_hand(mine, number, when_more_than):
    """Look at the scores from the lowest up (of equal ones the later first), and drop those that nothing needs."""
    if len(mine) <= when_more_than:
        return set()
    left, gone = dict(mine), set()
    latest_first = sorted(mine.values(), key=lambda r: (r["date"] or "9999", int(r["score_id"][1:])), reverse=True)
    for row in sorted(latest_first, key=lambda r: Fraction(r["percentage"])):
        if len(gone) < number:
            rest = {key: value for key, value in left.items() if key != row["score_id"]}
            if not any(holds(left) and not holds(rest) for holds in (two_judges, two_competitions)):
                left = rest
                gone.add(row["score_id"])
    return gone


def two_judges(rows):
    choices = [set(filter(None, row["judges"].split(";"))) for row in rows.values()]
    return any(a != b for n, one in enumerate(choices) for two in choices[n + 1 :] for a in one for b in two)


def two_competitions(rows):
    return len({row["competition"] for row in rows.values()} - {""}) >= 2
