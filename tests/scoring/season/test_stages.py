"""Each stage of a scheme on small ledgers worked by hand."""

import datetime as dt

import pytest

from scoring import season
from tests.scoring.season.season_builders import ledger, only_row, rides, rows_by_unit, scheme, states


def dated(*days, **common):
    return [{"pair": "P1", "percentage": "60", "date": day, **common} for day in days]


# season


def test_both_ends_of_a_season_count():
    rule = scheme(season={"from": "2026-10-01", "to": "2027-09-30"})
    row = only_row(rule, ledger(*dated("2026-09-30", "2026-10-01", "2027-09-30", "2027-10-01", "")))
    assert row.counted == ("s2", "s3")
    assert states(row) == {
        "s1": "not eligible", "s2": "counted", "s3": "counted", "s4": "not eligible", "s5": "not eligible",
    }  # fmt: skip
    assert row.explanations[4] == ("s5", "not eligible", "Not counted: its date is unknown.")


def test_twelve_rolling_months_end_with_the_as_of_day():
    rule = scheme(season={"rolling_months": 12})
    scores = ledger(*dated("2026-03-01", "2026-03-02", "2027-03-01", "2027-03-02"))
    assert only_row(rule, scores, as_of=dt.date(2027, 3, 1)).counted == ("s2", "s3")
    assert only_row(rule, scores).counted == ("s3", "s4")


def test_rolling_months_end_on_the_last_day_of_a_short_month():
    rule = scheme(season={"rolling_months": 1})
    scores = ledger(*dated("2027-02-28", "2027-03-01", "2027-03-31"))
    assert only_row(rule, scores, as_of=dt.date(2027, 3, 31)).counted == ("s2", "s3")


def test_rolling_days_count_the_as_of_day():
    rule = scheme(season={"rolling_days": 2})
    scores = ledger(*dated("2027-02-27", "2027-02-28", "2027-03-01"))
    assert only_row(rule, scores, as_of=dt.date(2027, 3, 1)).counted == ("s2", "s3")


def test_a_lifetime_needs_no_date_unless_a_day_is_asked_for():
    rule = scheme(season={"lifetime": True})
    scores = ledger(*dated("1999-01-01", "", "2027-03-01"))
    assert only_row(rule, scores).counted == ("s1", "s2", "s3")
    assert only_row(rule, scores, as_of=dt.date(2027, 2, 28)).counted == ("s1",)


def test_nothing_ridden_after_the_as_of_day_counts():
    rule = scheme(season={"from": "2026-10-01", "to": "2027-09-30"})
    scores = ledger(*dated("2027-03-01", "2027-03-02"))
    standings = season.compute_standings(rule, scores, as_of=dt.date(2027, 3, 1))
    assert standings.rows()[0].counted == ("s1",)
    assert standings.as_document()["as_of"] == "2027-03-01"


# eligible


def test_an_unknown_value_is_named_and_does_not_count():
    rule = scheme(eligible=[{"field": "member", "is": True}])
    row = only_row(rule, ledger(*rides(60, member="true"), *rides(70), *rides(71, member="false")))
    assert row.value == "60.000"
    assert row.explanations[1:] == (
        ("s2", "not eligible", "Not counted: it is not known whether the membership was in force."),
        ("s3", "not eligible", "Not counted: the membership was not in force."),
    )


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ({"any": [{"field": "kind", "is": "set"}, {"field": "member", "is": True}]}, ["s1", "s3"]),
        ({"all": [{"field": "kind", "is": "set"}, {"field": "member", "is": True}]}, []),
        ({"not": {"field": "kind", "is": "set"}}, ["s2"]),
        ({"not": [{"field": "kind", "is": "set"}, {"field": "member", "is": False}]}, ["s2", "s3"]),
        ({"not": {"field": "member", "is": True}}, ["s2"]),
        ({"field": "kind", "not_in": ["set", "quality"]}, ["s2"]),
        ({"field": "judges", "is": "J2"}, ["s1", "s2"]),
        ({"field": "judges", "not_in": ["J1"]}, ["s2"]),
        ({"field": "judge_count", "at_least": 2}, ["s1"]),
        ({"field": "percentage", "above": "60"}, ["s2"]),
        ({"field": "percentage", "at_most": "60"}, ["s1", "s3"]),
        ({"field": "percentage", "is": "60.0"}, ["s1", "s3"]),
        ({"field": "date", "after": "2027-01-01"}, ["s2"]),
        ({"field": "date", "before": "2027-01-02"}, ["s1"]),
        ({"field": "placing", "below": 3}, ["s1"]),
        ({"field": "x-arena", "in": ["20x60"]}, ["s1"]),
    ],
)
def test_conditions_are_true_false_or_not_known(condition, expected):
    scores = ledger(
        {"pair": "P1", "percentage": "60", "kind": "set", "judges": "J1;J2", "date": "2027-01-01", "placing": "2",
         "x-arena": "20x60"},
        {"pair": "P1", "percentage": "61", "kind": "freestyle", "member": "false", "judges": "J2", "date": "2027-01-02",
         "placing": "3", "x-arena": "20x40"},
        {"pair": "P1", "percentage": "60", "member": "true"},
    )  # fmt: skip
    rows = season.compute_standings(scheme(eligible=[condition]), scores).rows()
    assert [score_id for row in rows for score_id in row.counted] == expected


def test_a_bar_may_depend_on_two_fields():
    bar = {"level": {"novice": {"division": {"open": "66", "*": "64"}}, "*": "60"}}
    rule = scheme(eligible=[{"field": "percentage", "at_least_by": bar}])
    cases = [
        ("65.999", "novice", "open"), ("66", "novice", "open"), ("64", "novice", "junior"), ("60", "medium", ""),
        ("99", "", "open"), ("99", "novice", ""),
    ]  # fmt: skip
    scores = ledger(*({"pair": "P1", "percentage": p, "level": lv, "division": d} for p, lv, d in cases))
    assert only_row(rule, scores).counted == ("s2", "s3", "s4")


def test_a_score_without_its_unit_does_not_count_and_is_kept_in_sight():
    standings = season.compute_standings(scheme(), ledger({"percentage": "60"}))
    assert standings.rows() == ()
    assert standings.left_out[0].unit is None
    assert standings.left_out[0].explanations == (("s1", "not eligible", "Not counted: its pair is unknown."),)


# groups


def test_groups_stand_in_the_order_of_their_values_missing_last():
    scores = ledger(*(r for lv in ("novice", "", "level 10", "level 9") for r in rides(60, level=lv)))
    standings = season.compute_standings(scheme(group_by=["level"]), scores)
    groups = [group["group"] for group in standings.as_document()["groups"]]
    assert groups == [{"level": "level 9"}, {"level": "level 10"}, {"level": "novice"}, {"level": None}]


# rerank


def test_places_are_counted_again_among_members_with_the_class_order_kept():
    rule = scheme(
        eligible=[{"field": "member", "is": True}],
        rerank=["class"],
        score=[{"places": {"1": "10", "2": "8", "3": "6", "4": "4"}}],
    )
    common = {"class": "K", "competition": "S"}
    scores = ledger(
        {"pair": "A", "placing": "1", "percentage": "70", "member": "false", **common},
        {"pair": "B", "placing": "2", "percentage": "65", "member": "true", **common},
        {"pair": "C", "placing": "3", "percentage": "65", "member": "true", **common},
        {"pair": "D", "placing": "3", "percentage": "65", "member": "true", **common},
        {"pair": "E", "placing": "5", "percentage": "60", "member": "true", **common},
        {"pair": "F", "placing": "1", "percentage": "60", "member": "true", **common, "competition": "T"},
    )
    values = {unit: row.value for unit, row in rows_by_unit(rule, scores).items()}
    assert values == {"B": "10.000", "C": "8.000", "D": "8.000", "E": "4.000", "F": "10.000"}


def test_merged_divisions_are_ranked_by_percentage_and_count_their_starters():
    rule = scheme(rerank=["test", "date"], score=[{"from_starters": {"most": "6"}}], decimals=0)
    rows = [("A", "61", "1"), ("B", "66", "1"), ("C", "64", "2"), ("D", "", "3")]
    scores = ledger(
        *(
            {"pair": pair, "percentage": p, "placing": place, "test": "T", "date": "2027-01-01", "class": f"K{pair}"}
            for pair, p, place in rows
        )
    )
    found = rows_by_unit(rule, scores)
    assert {unit: row.value for unit, row in found.items()} == {"B": "4", "C": "3", "A": "2"}


# score


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([], "66.666"),
        ([{"take": "starters"}], "9.000"),
        ([{"take": "collectives"}], "56.500"),
        ([{"constant": "2"}], "2.000"),
        ([{"places": {"1": "6", "2": "5"}}], "0.000"),
        ([{"places": {"1": "6", "*": "1"}}], "1.000"),
        ([{"places_by_starters": {"1": {"3": "1"}, "2-8": {"3": "2"}, "9": {"3": "4"}, "10+": {"3": "5"}}}], "4.000"),
        ([{"places_by_starters": {"1": {"3": "1"}}}], "0.000"),
        ([{"from_starters": {"most": "6"}}], "4.000"),
        ([{"from_starters": {"most": "2"}}], "1.000"),
        ([{"riders_beaten": "1.5"}], "9.000"),
        ([{"bands": [["62", "2"], ["60", "1"], ["66.666", "3"]], "below": "-1"}], "3.000"),
        ([{"take": "placing"}, {"bands": [["4", "1"]], "below": "-1"}], "-1.000"),
        ([{"divide": "3"}], "22.222"),
        ([{"multiply": "1.5"}, {"add": "0.001"}], "100.000"),
        ([{"multiply_by": {"level": {"novice": "2", "*": "1"}}}], "133.332"),
        ([{"add_by": {"horse_age": {"9": "0.5"}}}], "67.166"),
        ([{"linear": {"kind": {"set": ["10", "-500"], "*": ["1", "0"]}}}], "166.660"),
        ([{"round": {"decimals": 1, "rounding": "down"}}], "66.600"),
        ([{"round": {"decimals": 1}}, {"plus": [{"take": "placing"}, {"multiply": "2"}]}], "72.700"),
        ([{"when": {"field": "placing", "is": 3}, "then": [{"constant": "1"}], "else": [{"constant": "2"}]}], "1.000"),
        ([{"when": {"field": "placing", "is": 4}, "then": [{"constant": "1"}]}], "66.666"),
    ],
)
def test_the_number_of_a_score(steps, expected):
    scores = ledger(
        {"pair": "P1", "percentage": "66.666", "collectives": "56.5", "placing": "3", "starters": "9",
         "level": "novice", "kind": "set", "horse_age": "9"}
    )  # fmt: skip
    assert only_row(scheme(score=steps), scores).value == expected


@pytest.mark.parametrize(
    ("steps", "reason"),
    [
        ([], "its percentage is unknown"),
        ([{"take": "placing"}], "its placing is unknown"),
        ([{"places": {"*": "1"}}], "its placing is unknown"),
        ([{"from_starters": {"most": "6"}}], "its starters is unknown"),
        ([{"constant": "1"}, {"multiply_by": {"level": {"*": "1"}}}], "its level is unknown"),
        ([{"constant": "1"}, {"add_by": {"kind": {"set": "1"}}}], 'the scheme has no figure for the kind "quality"'),
        (
            [{"when": {"field": "member", "is": True}, "then": [{"add": "1"}]}],
            "it is not known whether the membership was in force",
        ),
        ([{"constant": "1"}, {"plus": [{"take": "percentage"}]}], "its percentage is unknown"),
    ],
)
def test_a_number_that_cannot_be_worked_out_names_the_value(steps, reason):
    standings = season.compute_standings(scheme(score=steps), ledger({"pair": "P1", "kind": "quality"}))
    assert standings.rows() == ()
    assert standings.left_out[0].explanations[0][2] == f"Not counted: {reason}."


def test_an_eliminated_ride_may_cost_points_without_a_percentage():
    eliminated = {"any": [{"field": "status", "is": "eliminated"}, {"field": "percentage", "below": "50"}]}
    rule = scheme(score=[{"when": eliminated, "then": [{"constant": "-1"}]}], value={"aggregate": "sum"}, decimals=0)
    assert only_row(rule, ledger({"pair": "P1", "status": "eliminated"})).value == "-1"


def test_riders_who_share_the_place_are_not_beaten():
    rule = scheme(score=[{"riders_beaten": "1"}], decimals=0)
    common = {"class": "K", "competition": "S", "starters": "5"}
    places = [("A", "1"), ("B", "2"), ("C", "2"), ("D", "4")]
    found = rows_by_unit(rule, ledger(*({"pair": pair, "placing": place, **common} for pair, place in places)))
    assert {unit: row.value for unit, row in found.items()} == {"A": "4", "B": "2", "C": "2", "D": "1"}


# limit


def test_limits_apply_in_their_order_and_say_what_outdid_a_score():
    rule = scheme(
        limit=[{"keep": "best", "number": 1, "per": ["competition"]}, {"keep": "last", "number": 2}],
    )
    rows = [
        ("60", "C1", "2027-01-01"),
        ("62", "C1", "2027-01-02"),
        ("70", "C2", "2027-01-09"),
        ("50", "C3", "2027-02-01"),
        ("99", "", "2027-03-01"),
    ]
    scores = ledger(*({"pair": "P1", "percentage": p, "competition": c, "date": d} for p, c, d in rows))
    row = only_row(rule, scores)
    assert (row.value, row.counted, row.dropped) == ("60.000", ("s3", "s4"), ("s1", "s2"))
    sentences = {score_id: sentence for score_id, _, sentence in row.explanations}
    assert sentences["s1"] == "Dropped with 60: Only the best score counts per competition."
    assert sentences["s2"] == "Dropped with 62: Only the last 2 scores count."
    assert sentences["s5"] == "Not counted: its competition is unknown."


def test_a_limit_may_look_at_some_scores_only():
    rule = scheme(limit=[{"keep": "best", "number": 1, "where": {"field": "kind", "is": "video"}}])
    scores = ledger(*rides(60, 61, kind="video"), *rides(50, 51, kind="set"))
    assert only_row(rule, scores).counted == ("s2", "s3", "s4")


def test_the_first_of_equal_scores_is_kept():
    rule = scheme(limit=[{"keep": "best", "number": 1}])
    scores = ledger(*dated("2027-02-01", "2027-01-01", ""))
    assert only_row(rule, scores).counted == ("s2",)


# require


def test_requirements_count_what_is_left_after_the_limit():
    rule = scheme(
        limit=[{"keep": "best", "number": 1, "per": ["competition"]}],
        require=[{"count": name, "at_least": 2} for name in ("scores", "judges", "dates", "tests", "levels", "classes",
                                                            "venues", "weekends", "pairs", "competitions")],
    )  # fmt: skip
    one = {"pair": "P1", "percentage": "60", "competition": "C1", "judges": "J1;J2", "date": "2027-01-02", "test": "T1",
           "level": "novice", "class": "K1", "venue": "V1"}  # fmt: skip
    two = {**one, "competition": "C2", "date": "2027-01-03", "venue": "V2", "level": "", "percentage": "61"}
    three = {**two, "judges": "J3", "percentage": "59"}
    row = only_row(rule, ledger(one, two, three))
    have = {met.count: met.have for met in row.requirements}
    assert have == {
        "scores": 2, "judges": 2, "dates": 2, "tests": 1, "levels": 1, "classes": 2, "venues": 2, "weekends": 1,
        "pairs": 1, "competitions": 2,
    }  # fmt: skip
    assert row.qualified is False
    assert row.as_dict()["requirements"][1] == {"count": "judges", "have": 2, "need": 2, "met": True}


def test_a_requirement_may_ask_for_at_most_or_any_of():
    none = {"count": "scores", "at_most": 0, "where": {"field": "percentage", "below": "50"}}
    either = {"any_of": [{"count": "judges", "at_least": 2}, [{"count": "venues", "at_least": 2}]]}
    rule = scheme(require=[none, either])
    row = only_row(rule, ledger(*rides(60, 61, judges="J1")))
    assert [met.met for met in row.requirements] == [True, False]
    assert row.as_dict()["requirements"][0] == {"count": "scores", "have": 0, "at_most": 0, "met": True}
    assert only_row(rule, ledger(*rides(60, judges="J1"), *rides(61, judges="J2"))).qualified
    assert not only_row(rule, ledger(*rides(49, judges="J1"), *rides(61, judges="J2"))).qualified


def test_a_share_of_the_seasons_competitions_is_rounded_up():
    rule = scheme(require=[{"count": "competitions", "share_of_competitions": "0.5"}])
    mine = [{"pair": "P1", "percentage": "60", "competition": f"C{n}"} for n in (1, 2)]
    others = [{"pair": "P2", "percentage": "60", "competition": f"C{n}"} for n in (1, 2, 3)]
    found = rows_by_unit(rule, ledger(*mine, *others))
    assert found["P1"].requirements[0].need == 2
    assert found["P1"].qualified
    more = [{"pair": "P3", "percentage": "1", "competition": name} for name in ("C4", "C5")]
    assert not rows_by_unit(rule, ledger(*mine, *others, *more))["P1"].qualified


def test_the_association_may_say_how_many_competitions_there_are():
    rule = scheme(season={"from": "2027-01-01", "competitions": 9}, value={
        "aggregate": "sum", "take": {"best": {"competitions_minus": 7, "at_most": 4}}})  # fmt: skip
    assert only_row(rule, ledger(*rides(60, 61, 62, date="2027-01-01"))).value == "123.000"
    where = {"from": "2027-01-01", "competitions": [{"field": "recognised", "is": True}]}
    rule = scheme(season=where, value={"aggregate": "sum", "take": {"best": {"share_of_competitions": "0.5"}}})
    rows = [
        {**ride, "competition": f"C{n}", "recognised": "true" if n < 3 else "false"}
        for n, ride in enumerate(rides(60, 61, 62, 63, date="2027-01-01"))
    ]
    assert only_row(rule, ledger(*rows)).value == "125.000"


# value


def test_the_lowest_goes_unless_a_requirement_needs_it():
    needs = [{"count": "scores", "at_least": 1, "where": {"field": "highest_of_level", "is": True}}]
    drop = {"number": 2, "when_more_than": 3}
    scores = ledger(*rides(60, highest_of_level="true"), *rides(61, 62, 63, highest_of_level="false"))
    plain = only_row(scheme(require=needs, value={"aggregate": "mean", "drop_lowest": drop}), scores)
    assert plain.counted == ("s3", "s4")
    kept = only_row(
        scheme(require=needs, value={"aggregate": "mean", "drop_lowest": {**drop, "protect": True}}), scores
    )
    assert kept.counted == ("s1", "s4")
    assert "without it the unit lacks" in kept.explanations[0][2]
    few = ledger(*rides(60, 61, 62))
    assert only_row(scheme(value={"aggregate": "mean", "drop_lowest": drop}), few).dropped == ()


def test_the_last_scores_are_taken_by_date():
    rule = scheme(value={"aggregate": "mean", "take": {"last": 2}})
    rows = [("60", "2027-01-01"), ("70", "2027-03-01"), ("64", "2027-02-01"), ("99", "")]
    row = only_row(rule, ledger(*({"pair": "P1", "percentage": p, "date": d} for p, d in rows)))
    assert (row.value, row.counted, row.dropped) == ("67.000", ("s2", "s3"), ("s1",))
    assert states(row)["s4"] == "not eligible"


def test_a_final_counts_on_top_whatever_it_is():
    rule = scheme(
        value={"aggregate": "sum", "drop_lowest": {"number": 1},
               "take": {"best": 2, "plus_all": {"field": "kind", "is": "final"}}}
    )  # fmt: skip
    row = only_row(rule, ledger(*rides(60, 61, 62, 63, kind="leg"), *rides(10, kind="final"), *rides(99)))
    assert (row.value, row.counted, row.dropped) == ("135.000", ("s3", "s4", "s5"), ("s1", "s2"))
    assert states(row)["s6"] == "not eligible"


def test_two_stages_with_a_rounding_between():
    first = {"by": ["kind"], "aggregate": "mean", "round": {"decimals": 0}}
    rule = scheme(value={"first": first, "take": {"best": 2}, "aggregate": "sum"}, decimals=1)
    scores = ledger(*rides(60, 61, kind="set"), *rides(70, kind="freestyle"), *rides(50, kind="quality"), *rides(99))
    row = only_row(rule, scores)
    assert (row.value, row.counted, row.dropped) == ("131.0", ("s1", "s2", "s3"), ("s4",))
    assert row.explanations[4] == ("s5", "not eligible", "Not counted: its kind is unknown.")


def test_members_best_two_make_the_teams_mean():
    first = {"by": ["pair"], "take": {"best": 2}, "aggregate": "mean"}
    rule = scheme(unit="team", require=[{"count": "pairs", "at_least": 2}], value={"first": first, "aggregate": "mean"})
    scores = ledger(*rides(60, 70, 50, unit="A", team="Green"), *rides(60, unit="B", team="Green"))
    row = only_row(rule, scores)
    assert (row.unit, row.value, row.qualified, row.dropped) == ("Green", "62.500", True, ("s3",))


def test_bonuses_are_added_to_the_figure():
    four = {"when": {"count": "competitions", "at_least": 2}, "amount": "5"}
    rule = scheme(
        value={
            "aggregate": "mean",
            "take": {"best": 1},
            "add_per_score": "0.5",
            "add": [four],
            "add_field": "horse_age",
        }
    )
    rows = [("60", "C1", "2027-01-01", "9"), ("61", "C2", "2027-02-01", "10")]
    scores = ledger(
        *({"pair": "P1", "percentage": p, "competition": c, "date": d, "horse_age": a} for p, c, d, a in rows)
    )
    assert only_row(rule, scores).value == "76.500"
    row = only_row(rule, ledger(*rides(60)))
    assert (row.value, row.qualified, row.problem) == (None, False, "The horse age that the scheme adds is unknown.")


@pytest.mark.parametrize(
    ("how", "order", "expected"),
    [("mean", "descending", "61.250"), ("median", "descending", "60.500"), ("sum", "descending", "245.000"),
     ("best", "descending", "64.000"), ("best", "ascending", "60.000"), ("count", "descending", "4.000")],
)  # fmt: skip
def test_aggregates(how, order, expected):
    assert only_row(scheme(value={"aggregate": how}, order=order), ledger(*rides(60, 60, 61, 64))).value == expected


def test_the_set_taken_must_meet_its_requirements():
    rule = scheme(value={"aggregate": "sum", "take": {"best": 2, "must": [{"count": "judges", "at_least": 2}]}})
    row = only_row(rule, ledger(*rides(70, 69, judges="J1"), *rides(60, judges="J2")))
    assert (row.value, row.counted, row.qualified) == ("130.000", ("s1", "s3"), True)
    alone = only_row(rule, ledger(*rides(70, 69, judges="J1")))
    assert (alone.value, alone.counted, alone.qualified) == (None, (), False)
    assert alone.as_dict()["requirements"] == [{"count": "judges", "have": 1, "need": 2, "met": False}]


def test_the_figure_is_rounded_once_in_the_schemes_way():
    scores = ledger(*rides("60.0005", "60.0000"))
    assert only_row(scheme(decimals=3), scores).value == "60.000"
    assert only_row(scheme(decimals=4), scores).value == "60.0003"
    assert only_row(scheme(decimals=4, rounding="half-even"), scores).value == "60.0002"
    assert only_row(scheme(decimals=4, rounding="down"), scores).value == "60.0002"
    assert only_row(scheme(decimals=0), scores).value == "60"


# threshold


@pytest.mark.parametrize(
    ("threshold", "order", "expected"),
    [
        ("60", "descending", True), ("60.001", "descending", False), ({"above": "60"}, "descending", False),
        ({"above": "59.999"}, "descending", True), ("60", "ascending", True), ("59.999", "ascending", False),
        ({"below": "60"}, "ascending", False), ({"level": {"novice": "60", "*": "70"}}, "descending", True),
        ({"level": {"medium": "60"}}, "descending", False),
    ],
)  # fmt: skip
def test_the_published_figure_must_reach_the_threshold(threshold, order, expected):
    rule = scheme(threshold=threshold, order=order, group_by=["level"])
    row = only_row(rule, ledger(*rides("59.9996", level="novice")))
    assert (row.value, row.qualified) == ("60.000", expected)
    assert row.requirements[-1].as_dict()["count"] == "value"


def test_a_score_is_said_to_count_with_its_percentage_as_published():
    rule = scheme(value={"take": {"best": 1}, "aggregate": "mean"})
    sentences = {key: sentence for key, _, sentence in only_row(rule, ledger(*rides("70.000", "69.5"))).explanations}
    assert sentences["s1"] == "Counts with 70.000."
    assert sentences["s2"].startswith("Dropped with 69.5: ")
    doubled = scheme(score=[{"take": "percentage"}, {"multiply": "2"}], value={"aggregate": "mean"})
    (row,) = season.compute_standings(doubled, ledger(*rides("35.000"))).rows()
    assert row.explanations[0][2] == "Counts with 70."
