"""The outlook against standings worked out with the further rides really in the ledger."""

import datetime as dt
from dataclasses import replace
from fractions import Fraction
from itertools import combinations_with_replacement

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring import season
from scoring.exact import Rounding, format_units, round_to_units
from scoring.season.thresholds import Threshold
from tests.scoring.season.season_builders import ledger, rides, scheme

AVERAGE = {
    "require": [
        {"count": "scores", "at_least": 4},
        {"count": "judges", "at_least": 2},
        {"count": "competitions", "at_least": 3},
        {"count": "scores", "at_least": 1,
         "where": [{"field": "highest_of_level", "is": True}, {"field": "percentage", "at_least": "60"}]},
    ],
    "eligible": [{"field": "member", "is": True}, {"field": "percentage", "at_least": "50"}],
    "value": {"aggregate": "mean", "take": {"best": 3}},
    "threshold": "61.5",
}  # fmt: skip


def outlook(rule, scores, **options):
    (one,) = season.compute_outlook(rule, scores, unit="P1", **options)
    return one


def test_a_qualified_unit_needs_nothing():
    scores = ledger(*(
        {"pair": "P1", "percentage": "65", "judges": f"J{n}", "competition": f"C{n}", "member": "true",
         "highest_of_level": "true"} for n in range(4)
    ))  # fmt: skip
    found = outlook(scheme(**AVERAGE), scores)
    assert (found.qualified, found.value, found.missing, found.scores_needed) == (True, "65.000", (), 0)
    assert found.at_least_each is None
    assert found.rides == ()


def test_it_says_how_many_rides_what_they_must_be_and_how_good():
    rows = rides(60, 62, judges="J1", competition="C1", member="true", highest_of_level="false", date="2027-03-01")
    found = outlook(scheme(**AVERAGE), ledger(*rows))
    document = found.as_document()
    assert document["missing"] == [
        {"count": "scores", "have": 2, "need": 4}, {"count": "judges", "have": 1, "need": 2},
        {"count": "competitions", "have": 1, "need": 3}, {"count": "scores", "have": 0, "need": 1},
        {"count": "value", "have": "61.000", "need": "61.5"},
    ]  # fmt: skip
    assert (document["scores_needed"], document["at_least_each"]) == (2, "61.250")
    assert [ride["new"] for ride in document["rides"]] == [["judge", "competition"], ["competition"]]
    member, top = {"field": "member", "is": True}, {"field": "highest_of_level", "is": True}
    assert [ride["where"] for ride in document["rides"]] == [[top, member], [member]]


def test_a_kind_that_is_shut_out_is_named_and_a_new_horse_asked_for():
    rule = scheme(
        unit="rider",
        eligible=[{"field": "kind", "not_in": ["freestyle", "quality"]}],
        require=[{"count": "horses", "at_least": 2}],
    )
    scores = ledger({"pair": "P1", "rider": "R1", "horse": "H1", "kind": "set", "percentage": "60"})
    (found,) = season.compute_outlook(rule, scores, unit="R1")
    assert found.scores_needed == 1
    assert found.rides[0].as_dict() == {
        "new": [],
        "where": [{"field": "horse", "not_in": ["H1"]}, {"field": "kind", "not_in": ["freestyle", "quality"]}],
    }


def test_break_points_of_the_next_score_of_a_mean_of_the_best():
    rule = scheme(value={"aggregate": "mean", "take": {"best": 2}})
    found = outlook(rule, ledger(*rides(60, 64, 58))).as_document()
    assert found["next_score"] == [
        {"from": "0.000", "to": "60.000", "value": "62.000"},
        {"from": "60.000", "to": "100.000", "value": None, "value_from": "62.000", "value_to": "82.000"},
    ]


def test_break_points_of_a_median_are_a_flat_a_slope_and_a_flat():
    found = outlook(scheme(value={"aggregate": "median"}), ledger(*rides(60, 62, 64, 66)))
    assert [(piece.first, piece.last, piece.value) for piece in found.next_score] == [
        ("0.000", "62.000", "62.000"), ("62.000", "64.000", None), ("64.000", "100.000", "64.000"),
    ]  # fmt: skip


def test_break_points_where_the_score_itself_is_rounded_or_banded():
    bands = scheme(score=[{"bands": [["60", "1"], ["62", "2"]]}], value={"aggregate": "sum"}, decimals=0)
    found = outlook(bands, ledger(*rides(61)))
    assert [(piece.first, piece.last, piece.value) for piece in found.next_score] == [
        ("0.000", "60.000", "1"), ("60.000", "62.000", "2"), ("62.000", "100.000", "3"),
    ]  # fmt: skip
    rounded = scheme(score=[{"round": {"decimals": 0}}], value={"aggregate": "best"}, decimals=0)
    pieces = outlook(rounded, ledger(*rides("97.5"))).next_score
    assert [(piece.first, piece.last, piece.value) for piece in pieces] == [
        ("0.000", "98.500", "98"), ("98.500", "99.500", "99"), ("99.500", "100.000", "100"),
    ]  # fmt: skip


def test_a_bar_that_must_be_exceeded_breaks_one_step_above():
    rule = scheme(eligible=[{"field": "percentage", "above": "60"}], value={"aggregate": "count"}, decimals=0)
    found = outlook(rule, ledger(*rides(61)))
    assert [(piece.first, piece.last, piece.value) for piece in found.next_score] == [
        ("0.000", "60.001", "1"), ("60.001", "100.000", "2"),
    ]  # fmt: skip


def test_no_ride_is_left_once_the_season_is_over():
    rule = scheme(season={"from": "2026-10-01", "to": "2027-09-30"}, require=[{"count": "scores", "at_least": 3}])
    scores = ledger(*rides(60, date="2027-01-01"))
    assert outlook(rule, scores, as_of=dt.date(2027, 9, 28)).scores_needed == 2
    over = outlook(rule, scores, as_of=dt.date(2027, 9, 30))
    assert (over.scores_needed, over.at_least_each, over.next_score) == (None, None, ())


def test_days_that_are_left_bound_the_number_of_dates():
    rule = scheme(season={"from": "2026-10-01", "to": "2027-09-30"}, require=[{"count": "dates", "at_least": 4}])
    scores = ledger(*rides(60, date="2027-01-01"))
    assert outlook(rule, scores, as_of=dt.date(2027, 9, 27)).scores_needed == 3
    assert outlook(rule, scores, as_of=dt.date(2027, 9, 28)).scores_needed is None


def test_what_cannot_be_reached_is_none():
    rule = scheme(value={"aggregate": "mean"}, threshold={"above": "100"})
    assert outlook(rule, ledger(*rides(60))).scores_needed is None


def test_a_mean_of_all_scores_may_need_many_rides():
    rule = scheme(value={"aggregate": "mean"}, threshold="99")
    found = outlook(rule, ledger(*rides(80)))
    assert (found.scores_needed, found.at_least_each) == (19, "100.000")


def test_tiers_look_at_the_nearest_one():
    tiers = [
        {
            "name": name,
            "require": [{"count": "scores", "at_least": 3, "where": {"field": "percentage", "at_least": bar}}],
        }
        for name, bar in (("gold", "74"), ("bronze", "71"))
    ]
    found = outlook(scheme(mode="achieve", tiers=tiers), ledger(*rides(72, 75)))
    assert (found.scores_needed, found.at_least_each) == (1, "71.000")


def test_each_group_has_an_outlook_of_its_own_and_a_stranger_none():
    rule = scheme(group_by=["level"], require=[{"count": "scores", "at_least": 2}])
    scores = ledger(*rides(60, level="novice"), *rides(60, 61, level="medium"))
    found = season.compute_outlook(rule, scores, unit="P1")
    assert [(one.group, one.qualified) for one in found] == [
        ((("level", "medium"),), True), ((("level", "novice"),), False),
    ]  # fmt: skip
    assert season.compute_outlook(rule, scores, unit="P9") == []
    assert outlook(scheme(require=[{"count": "scores", "at_least": 2}]), ()).scores_needed == 2


# against the standings


DECIMALS = 9
KINDS = st.sampled_from(["set", "freestyle"])
RIDE = st.fixed_dictionaries(
    {
        "percentage": st.integers(540, 680).map(lambda tenths: f"{tenths // 10}.{tenths % 10}"),
        "judges": st.sampled_from(["J1", "J2", "J1;J2"]),
        "competition": st.sampled_from(["C1", "C2", "C3"]),
        "kind": KINDS,
        "highest_of_level": st.sampled_from(["true", "false"]),
        "date": st.sampled_from(["2027-01-01", "2027-02-01"]),
    }
)
TOP = [{"field": "highest_of_level", "is": True}, {"field": "percentage", "at_least": "62"}]
NEEDS = st.lists(
    st.sampled_from(
        [
            {"count": "scores", "at_least": 4},
            {"count": "judges", "at_least": 3},
            {"count": "competitions", "at_least": 3},
            {"count": "dates", "at_least": 3},
            {"count": "scores", "at_least": 1, "where": TOP},
            {"count": "scores", "at_least": 2, "where": {"field": "kind", "is": "freestyle"}},
            {"any_of": [{"count": "judges", "at_least": 4}, {"count": "tests", "at_least": 3}]},
        ]
    ),
    max_size=3,
)
VALUES = st.sampled_from(
    [
        {"aggregate": "mean"},
        {"aggregate": "median"},
        {"aggregate": "mean", "take": {"best": 2}},
        {"aggregate": "sum", "take": {"best": 3}, "add_per_score": "0.5"},
        {"aggregate": "median", "drop_lowest": {"number": 1, "when_more_than": 2, "protect": True}},
        {"aggregate": "median", "take": {"best": 3, "must": [{"count": "judges", "at_least": 2}]}},
        {"first": {"by": ["kind"], "aggregate": "mean", "take": {"best": 2}}, "aggregate": "sum"},
        {"aggregate": "mean", "take": {"last": 3}},
    ]
)
STEPS = st.sampled_from(
    [
        [],
        [{"bands": [["55", "1"], ["60", "2.5"], ["65", "4"]], "below": "0"}],
        [{"linear": {"kind": {"set": ["10", "-500"], "freestyle": ["10", "-530"]}}}],
        [{"round": {"decimals": 0, "rounding": "half-up"}}, {"multiply": "0.5"}],
    ]
)
LIMITS = st.sampled_from([[], [{"keep": "best", "number": 1, "per": ["competition"]}]])
ELIGIBLE = st.sampled_from(
    [[], [{"field": "percentage", "at_least": "58"}], [{"field": "percentage", "above": "57.5"}]]
)
SCHEMES = st.fixed_dictionaries(
    {"require": NEEDS, "value": VALUES, "score": STEPS, "limit": LIMITS, "eligible": ELIGIBLE}
).map(lambda keys: scheme(**keys, decimals=DECIMALS))


def further(number, percentage, **fields):
    """Write down a further ride as a real one would stand in the ledger: everything about it is new."""
    day = dt.date(2027, 2, 2) + dt.timedelta(days=7 * number)
    return {
        "score_id": f"n{number}", "pair": "P1", "percentage": percentage, "date": day.isoformat(),
        "judges": f"NJ{number}", "test": f"NT{number}", "competition": f"NC{number}", **fields,
    }  # fmt: skip


def standing_with(rule, rows, added):
    scores = season.scores_from_rows([*rows, *added])
    found = season.compute_standings(rule, scores).rows()
    return found[0] if found else None


def text_of(step):
    return f"{step // 1000}.{step % 1000:03d}"


@settings(max_examples=60, deadline=None)
@given(SCHEMES, st.lists(RIDE, min_size=1, max_size=5), st.data())
def test_the_break_points_are_those_of_the_standings(rule, drawn, data):
    rows = [{"score_id": f"s{n}", "pair": "P1", **row} for n, row in enumerate(drawn)]
    if standing_with(rule, rows, []) is None:
        return
    pieces = outlook(rule, season.scores_from_rows(rows)).next_score
    edges = [step_of(piece.first) for piece in pieces]
    assert edges[0] == 0
    assert [step_of(piece.last) for piece in pieces] == [*edges[1:], 100_000]
    drawn_steps = data.draw(st.lists(st.integers(0, 100_000), max_size=3))
    steps = {step + shift for step in edges for shift in (-1, 0, 1)} | {100_000, *drawn_steps}
    for step in sorted(step for step in steps if 0 <= step <= 100_000):
        row = standing_with(rule, rows, [further(0, text_of(step), **like_the_latest(rule, rows))])
        expected = value_at(pieces, step)
        assert (row.value is None) == (expected is None)
        if expected is not None:
            assert abs(Fraction(row.value) - expected) <= Fraction(2, 10**DECIMALS), step


def step_of(text):
    return int(text.replace(".", ""))


def like_the_latest(rule, rows):
    (row,) = season.compute_standings(rule, season.scores_from_rows(rows)).rows()
    counting = {score_id for score_id, state, _ in row.explanations if state != "not eligible"}
    latest = max((r for r in rows if r["score_id"] in counting), key=lambda r: (r["date"], int(r["score_id"][1:])))
    return {name: latest[name] for name in ("kind", "highest_of_level")}


def value_at(pieces, step):
    """Read a value off the pieces with nothing but what they say: a constant, or a straight line between two ends."""
    piece = next(piece for piece in pieces if step < step_of(piece.last) or piece is pieces[-1])
    if piece.value is not None:
        return Fraction(piece.value)
    if piece.at_first is None:
        return None
    first, last = step_of(piece.first), step_of(piece.last)
    low, high = Fraction(piece.at_first), Fraction(piece.at_last)
    return low + (high - low) * Fraction(step - first, last - first)


KINDS_OF_RIDE = [
    {"kind": kind, "highest_of_level": top} for kind in ("set", "freestyle", "quality") for top in ("true", "false")
]


def qualifies(rule, rows, kinds, percentage):
    added = [further(n, percentage, **kind) for n, kind in enumerate(kinds)]
    row = standing_with(rule, rows, added)
    return row is not None and row.qualified


@settings(max_examples=50, deadline=None)
@given(SCHEMES, st.lists(RIDE, max_size=4), st.sampled_from([None, "60", "64.5", "3"]))
def test_no_fewer_and_no_worse_rides_would_do(rule, drawn, threshold):
    rule = _with_threshold(rule, threshold)
    rows = [{"score_id": f"s{n}", "pair": "P1", **row} for n, row in enumerate(drawn)]
    found = outlook(rule, season.scores_from_rows(rows))
    if found.scores_needed == 0:
        assert standing_with(rule, rows, []).qualified
        return
    if found.scores_needed is None or found.scores_needed > 2:
        assert not any(qualifies(rule, rows, kinds, "100") for k in (1, 2) for kinds in plans(k))
        return
    lowest = step_of(found.at_least_each)
    enough = list(plans(found.scores_needed))
    assert any(qualifies(rule, rows, kinds, found.at_least_each) for kinds in enough)
    assert lowest == 0 or not any(qualifies(rule, rows, kinds, text_of(lowest - 1)) for kinds in enough)
    for percentage in ("100", "75", "62", found.at_least_each):
        assert not any(qualifies(rule, rows, kinds, percentage) for kinds in plans(found.scores_needed - 1))


def plans(number):
    return combinations_with_replacement(KINDS_OF_RIDE, number)


def _with_threshold(rule, threshold):
    return rule if threshold is None else replace(rule, threshold=Threshold("at_least", Fraction(threshold)))


@pytest.mark.parametrize("threshold", ["61.5", "62", "64.999"])
def test_the_lowest_percentage_is_the_first_that_rounds_up_to_the_threshold(threshold):
    rule = scheme(value={"aggregate": "mean"}, threshold=threshold, decimals=1)
    found = outlook(rule, ledger(*rides(60, 61)))
    value = (Fraction(121) + Fraction(found.at_least_each)) / 3
    below = value - Fraction(1, 3000)
    rounded = [round_to_units(v, decimals=1, rounding=Rounding.HALF_UP) for v in (below, value)]
    assert Fraction(format_units(rounded[1], decimals=1)) >= Fraction(threshold) > Fraction(rounded[0], 10)


def test_where_places_count_the_value_is_told_place_by_place():
    """8, 6, 5 points for the first three places, 1 for any other; the best two count: 6 and 1 stand, by hand."""
    rule = scheme(
        score=[{"places": {"1": "8", "2": "6", "3": "5", "*": "1"}}],
        rerank=["class"],
        value={"take": {"best": 2}, "aggregate": "sum"},
        decimals=0,
    )
    scores = ledger(
        {"pair": "P1", "percentage": "65", "placing": "2", "class": "1"},
        {"pair": "P2", "percentage": "70", "placing": "1", "class": "1"},
        *({"pair": f"P{n}", "percentage": "70", "placing": str(n - 1), "class": "2"} for n in (2, 3, 4)),
        {"pair": "P1", "percentage": "60", "placing": "4", "class": "2"},
    )
    found = outlook(rule, scores)
    assert found.value == "7"
    assert [(piece.first, piece.last, piece.value) for piece in found.next_place] == [
        (1, 1, "14"),
        (2, 2, "12"),
        (3, 3, "11"),
        (4, None, "7"),
    ]
    assert found.as_document()["next_place"][-1] == {"from": 4, "to": None, "value": "7"}


def test_where_places_do_not_count_none_is_told():
    found = outlook(scheme(value={"aggregate": "mean"}), ledger(*rides(60, 64)))
    assert found.next_place == ()
    assert "next_place" not in found.as_document()


def test_a_ride_that_asks_for_another_week_is_ridden_in_the_next_one():
    rule = scheme(require=[{"count": "weekends", "at_least": 2}])
    assert outlook(rule, ledger(*rides(60, date="2027-03-02"))).scores_needed == 1


@pytest.mark.parametrize(("days", "needed"), [(3, None), (4, 2), (9, 2)], ids=["to Sunday", "to Monday", "to Saturday"])
def test_weeks_are_used_up_to_the_last_day_of_the_season(days, needed):
    """Three weeks are asked for; of a ride on Tuesday 2 March 2027 on, the next weeks begin on the 8th and the 15th."""
    last = dt.date(2027, 3, 11) + dt.timedelta(days=days)
    rule = scheme(season={"from": "2026-10-01", "to": last.isoformat()}, require=[{"count": "weekends", "at_least": 3}])
    assert outlook(rule, ledger(*rides(60, date="2027-03-02"))).scores_needed == needed


def test_a_unit_of_which_nothing_counts_is_not_qualified():
    rule = season.read_scheme(
        {"format": "scheme/1", "id": "met", "mode": "qualify", "unit": "pair",
         "eligible": [{"field": "percentage", "at_least": "60"}]}
    )  # fmt: skip
    found = outlook(rule, ledger(*rides(55)))
    assert (found.qualified, found.scores_needed, found.at_least_each) == (False, 1, "60.000")


def test_next_places_are_those_of_a_class_as_large_as_the_latest_and_the_next_win_is_in_the_best_size():
    """Second of six earns 5; a win among six 8, among ten 12, by hand."""
    table = {"1-3": {"1": "1"}, "4-9": {"1": "8", "2": "5"}, "10+": {"1": "12", "2": "10", "3": "8"}}
    rule = scheme(score=[{"places_by_starters": table}], value={"aggregate": "sum"}, decimals=0)
    found = outlook(rule, ledger({"pair": "P1", "percentage": "60", "placing": "2", "starters": "6"}))
    assert [(piece.first, piece.last, piece.value) for piece in found.next_place] == [
        (1, 1, "13"), (2, 2, "10"), (3, 6, "5"),
    ]  # fmt: skip
    assert [piece.value for piece in found.next_score] == ["17"]


def test_lower_places_are_one_piece_only_where_they_come_to_the_same():
    rule = scheme(score=[{"take": "placing"}], value={"aggregate": "sum"}, decimals=0)
    found = outlook(rule, ledger({"pair": "P1", "percentage": "60", "placing": "2"}))
    assert (found.next_place[-1].first, found.next_place[-1].last, found.next_place[-1].value) == (30, 30, "32")


def test_the_next_score_is_in_the_test_of_the_latest_one():
    rule = scheme(limit=[{"keep": "best", "number": 1, "per": ["test"]}], value={"aggregate": "sum"}, decimals=0)
    found = outlook(rule, ledger(*rides(60, test="T1")))
    assert (found.next_score[0].value, found.next_score[-1].at_last) == ("60", "100")


def test_a_competition_that_the_season_holds_already_is_no_further_one():
    """The unit's ride at C1 has no place and does not count; half of the season's competitions are then one of one."""
    rule = scheme(
        score=[{"places": {"1": "8"}}], value={"aggregate": "sum", "take": {"best": {"competitions_minus": 1}}}
    )
    found = outlook(rule, ledger(*rides(60, competition="C1")))
    assert found.scores_needed == 1
    assert found.rides[0].new == ("competition",)
