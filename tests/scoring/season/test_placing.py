"""Places, ties, tiers and what happens afterwards."""

import datetime as dt

import pytest

from scoring import season
from scoring.season.rows import Row
from tests.scoring.season.season_builders import ledger, only_row, rides, rows_by_unit, scheme

TWO = {"aggregate": "mean", "take": {"best": 2}}


def places(rule, scores):
    return {row.unit: row.placing for row in season.compute_standings(rule, scores).rows()}


def test_equal_published_values_share_the_place_and_the_next_is_skipped():
    scores = ledger(
        *rides(70, unit="A"), *rides("65.0004", unit="B"), *rides("65.0001", unit="C"), *rides(64, unit="D")
    )
    rows = season.compute_standings(scheme(), scores).rows()
    assert [(row.unit, row.placing, row.shared) for row in rows] == [
        ("A", 1, False), ("B", 2, True), ("C", 2, True), ("D", 4, False),
    ]  # fmt: skip


def test_the_lowest_wins_where_the_scheme_says_so():
    rule = scheme(score=[{"take": "placing"}], order="ascending", value={"aggregate": "sum", "take": {"best": 2}})
    rows = [("A", 1), ("A", 4), ("A", 3), ("B", 2), ("B", 3)]
    found = rows_by_unit(rule, ledger(*({"pair": pair, "placing": str(place)} for pair, place in rows)))
    assert {unit: (row.value, row.placing) for unit, row in found.items()} == {"A": ("4.000", 1), "B": ("5.000", 2)}
    assert found["A"].dropped == ("s2",)


def test_the_unqualified_follow_by_value_then_by_unit():
    rule = scheme(require=[{"count": "scores", "at_least": 2}])
    scores = ledger(*rides(50, 50, unit="P7"), *rides(60, unit="P10"), *rides(60, unit="P9"), *rides(70, unit="P8"))
    rows = season.compute_standings(rule, scores).rows()
    assert [(row.unit, row.placing, row.qualified) for row in rows] == [
        ("P7", 1, True), ("P8", None, False), ("P9", None, False), ("P10", None, False),
    ]  # fmt: skip


def ride(pair, percentage, **more):
    return {"pair": pair, "percentage": str(percentage), **more}


TIES = [
    ([{"by": "best-score"}], [ride("A", 60), ride("A", 64), ride("B", 61), ride("B", 63)], {"A": 1, "B": 2}),
    ([], [ride("A", 60), ride("A", 64), ride("B", 61), ride("B", 63)], {"A": 1, "B": 1}),
    (
        [{"by": "next-best-scores"}],
        [ride("A", 60), ride("A", 64), ride("A", 62), ride("B", 64), ride("B", 62), ride("B", 61)],
        {"A": 1, "B": 1},
    ),
    (
        [{"by": "next-best-scores", "of": "all"}],
        [ride("A", 62), ride("A", 64), ride("A", 50), ride("B", 64), ride("B", 62), ride("B", 51)],
        {"A": 2, "B": 1},
    ),
    ([{"by": "more-scores"}], [ride("A", 62), ride("B", 62), ride("B", 62)], {"A": 2, "B": 1}),
    ([{"by": "fewer-scores"}], [ride("A", 62), ride("B", 62), ride("B", 62)], {"A": 1, "B": 2}),
    (
        [{"by": "latest-score"}],
        [ride("A", 64, date="2027-01-01"), ride("A", 60, date="2027-02-01"), ride("B", 63, date="2027-01-01"),
         ride("B", 61, date="2027-02-01")],
        {"A": 2, "B": 1},
    ),
    (
        [{"by": "best-collectives"}],
        [ride("A", 62, collectives="50"), ride("B", 62, collectives="51"), ride("C", 62)],
        {"A": 2, "B": 1, "C": 3},
    ),
    (
        [{"by": "mean-percentage", "of": "all"}],
        [ride("A", 62), ride("A", 62), ride("A", 50), ride("B", 62), ride("B", 62), ride("B", 51)],
        {"A": 2, "B": 1},
    ),
    ([{"by": "most-firsts"}], [ride("A", 62, placing="2"), ride("B", 62, placing="1")], {"A": 2, "B": 1}),
    (
        [{"by": "better-in", "where": {"field": "kind", "is": "final"}}],
        [ride("A", 64), ride("A", 60, kind="final"), ride("B", 63), ride("B", 61, kind="final"), ride("C", 62)],
        {"A": 2, "B": 1, "C": 3},
    ),
    (
        [{"by": "more", "count": "competitions", "where": {"field": "x-club-show", "is": "true"}}],
        [ride("A", 62, competition="C1"), ride("B", 62, competition="C1", **{"x-club-show": "true"})],
        {"A": 2, "B": 1},
    ),
    (
        [{"by": "more-scores"}, {"by": "best-collectives"}],
        [ride("A", 62, collectives="60"), ride("B", 62), ride("B", 62), ride("C", 62, collectives="61")],
        {"A": 3, "B": 1, "C": 2},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("steps", "rows", "expected"), TIES, ids=[str(number) for number in range(len(TIES))])
def test_ties_are_split_in_order_and_what_remains_equal_is_shared(steps, rows, expected):
    assert places(scheme(ties=steps, value=TWO), ledger(*rows)) == expected


def test_the_best_placing_wins_a_tie_where_the_lowest_wins():
    rule = scheme(
        score=[{"take": "placing"}], order="ascending", ties=[{"by": "best-score"}], value={"aggregate": "sum"}
    )
    rows = [("A", 1), ("A", 3), ("B", 2), ("B", 2)]
    assert places(rule, ledger(*({"pair": p, "placing": str(n)} for p, n in rows))) == {"A": 1, "B": 2}


# modes


def test_a_qualifying_list_has_no_places():
    rule = scheme(mode="qualify", require=[{"count": "scores", "at_least": 2}], threshold="55")
    scores = ledger(*rides(60, 60, unit="A"), *rides(70, 70, unit="B"), *rides(80, unit="C"), *rides(50, 50, unit="D"))
    rows = season.compute_standings(rule, scores).rows()
    assert [(row.unit, row.placing, row.qualified) for row in rows] == [
        ("B", None, True), ("A", None, True), ("C", None, False), ("D", None, False),
    ]  # fmt: skip


def test_a_qualifying_list_needs_no_value():
    rule = season.read_scheme(
        {
            "format": "scheme/1",
            "id": "q",
            "unit": "pair",
            "mode": "qualify",
            "require": [{"count": "scores", "at_least": 2}],
        }
    )
    row = only_row(rule, ledger(*rides(60, 61)))
    assert (row.qualified, row.value, row.counted) == (True, None, ("s1", "s2"))


MEDALS = {
    "mode": "achieve",
    "season": {"lifetime": True},
    "tiers": [
        {
            "name": name,
            "require": [{"count": "scores", "at_least": 2, "where": {"field": "percentage", "at_least": bar}}],
        }
        for name, bar in (("gold", "70"), ("silver", "65"))
    ],
}


def test_the_first_tier_met_counts():
    rule = scheme(**MEDALS)
    scores = ledger(*rides(70, 71, unit="A"), *rides(65, 90, unit="B"), *rides(90, unit="C"), *rides(99, 70, unit="D"))
    document = season.compute_standings(rule, scores).as_document()
    rows = document["groups"][0]["rows"]
    assert [(row["unit"], row["tier"], row["qualified"]) for row in rows] == [
        ("D", "gold", True), ("A", "gold", True), ("B", "silver", True), ("C", None, False),
    ]  # fmt: skip
    assert rows[3]["requirements"] == [{"count": "scores", "have": 1, "need": 2, "met": False}]


# after


def levels(**levels_of_units):
    return [
        {"pair": unit, "percentage": str(percentage), "level": level}
        for unit, ridden in levels_of_units.items()
        for level, percentage in ridden.items()
    ]


def by_level(rule, scores):
    found = {}
    for row in season.compute_standings(rule, scores).rows():
        found.setdefault(dict(row.group)["level"], {})[row.unit] = row.placing
    return found


@pytest.mark.parametrize(
    ("ridden", "number", "kept"),
    [
        (["training", "first", "second"], 1, {"second"}),
        (["training", "first", "second"], 2, {"first", "second"}),
        (["training", "second"], 2, {"second"}),
        (["first", "second", "third"], 3, {"first", "second", "third"}),
        (["second", "third"], 2, {"third"}),
        (["elsewhere", "first"], 1, {"elsewhere", "first"}),
    ],
)
def test_the_highest_consecutive_levels_are_kept(ridden, number, kept):
    order = ["training", "first", "second", "third"]
    step = {
        "keep": "highest",
        "of": "level",
        "order": order,
        "number": number,
        "not_consecutive": [["second", "third"]],
    }
    if number == 3:
        del step["not_consecutive"]
    rule = scheme(group_by=["level"], after=[step])
    found = by_level(rule, ledger(*levels(A=dict.fromkeys(ridden, 60))))
    assert {level for level, units in found.items() if units["A"] == 1} == kept


def test_a_unit_out_of_the_ranking_stays_listed_with_the_reason_and_others_move_up():
    rule = scheme(after=[{"exclude": ["A"]}])
    rows = season.compute_standings(rule, ledger(*rides(70, unit="A"), *rides(60, unit="B"))).rows()
    assert [(row.unit, row.placing, row.qualified) for row in rows] == [("B", 1, True), ("A", None, True)]
    assert rows[1].note == "Shut out of the ranking: A."
    shut = season.compute_standings(scheme(mode="qualify", after=[{"exclude": ["A"]}]), ledger(*rides(70, unit="A")))
    assert shut.rows()[0].qualified is False


def test_only_a_riders_best_horse_is_ranked():
    rule = scheme(after=[{"one_per": "rider"}])
    scores = ledger(
        *rides(70, unit="A", rider="R1"), *rides(69, unit="B", rider="R1"), *rides(68, unit="C", rider="R2"),
        *rides(67, unit="D"), *rides(66, unit="E"),
    )  # fmt: skip
    assert places(rule, scores) == {"A": 1, "B": None, "C": 2, "D": 3, "E": 4}


def test_places_are_given_to_the_first_few_and_in_tables_that_are_large_enough():
    scores = ledger(*rides(70, unit="A"), *rides(69, unit="B"), *rides(69, unit="C"), *rides(67, unit="D"))
    assert places(scheme(after=[{"places": 2}]), scores) == {"A": 1, "B": 2, "C": 2, "D": None}
    assert places(scheme(after=[{"minimum_units": 4}]), scores) == {"A": 1, "B": 2, "C": 2, "D": 4}
    assert places(scheme(after=[{"minimum_units": 5}]), scores) == dict.fromkeys("ABCD")
    assert places(scheme(after=[{"exclude": ["A"]}, {"minimum_units": 4}]), scores) == dict.fromkeys("ABCD")


def test_a_winner_at_two_levels_leaves_the_lower_title_to_the_runner_up():
    step = {"keep": "highest", "of": "level", "order": ["novice", "medium", "advanced"], "winners_only": True}
    rule = scheme(group_by=["level"], after=[step])
    rows = levels(
        A={"novice": 70, "medium": 70},
        B={"novice": 69, "medium": 60},
        C={"novice": 68, "advanced": 66},
        D={"medium": 71},
    )
    assert by_level(rule, ledger(*rows)) == {
        "novice": {"A": 1, "B": 2, "C": 3}, "medium": {"D": 1, "A": 2, "B": 3}, "advanced": {"C": 1},
    }  # fmt: skip
    rows = levels(A={"novice": 70, "medium": 72}, B={"novice": 69, "medium": 60})
    assert by_level(rule, ledger(*rows)) == {"novice": {"A": None, "B": 1}, "medium": {"A": 1, "B": 2}}


# parts of the standings


def test_rows_of_some_units_are_exact_and_are_placed_together_with_the_others():
    rule = scheme(require=[{"count": "scores", "at_least": 2}], ties=[{"by": "best-score"}])
    scores = ledger(*(row for unit, p in (("A", 60), ("B", 61), ("C", 62)) for row in rides(p, p + 5, unit=unit)))
    whole = season.compute_standings(rule, scores)
    part = season.compute_standings(rule, scores, units={"B"})
    assert part.partial
    assert [(row.unit, row.value, row.placing) for row in part.rows()] == [("B", "63.500", None)]
    kept = [row for row in whole.rows() if row.unit != "B"]
    ((_, rows),) = season.place_rows(rule, [*kept, *part.rows()])
    assert rows == whole.rows()
    assert all(isinstance(row, Row) for row in rows)


def test_the_document_is_the_one_of_the_contract():
    rule = scheme(group_by=["level", "division"], require=[{"count": "judges", "at_least": 1}], value=TWO)
    rows = [
        {"pair": "P104", "percentage": p, "judges": "J1", "level": "novice", "division": "open", "date": "2027-01-01"}
        for p in ("68.25", "68", "60")
    ]
    assert season.compute_standings(rule, ledger(*rows), as_of=dt.date(2027, 3, 1)).as_document() == {
        "format": "standings/1", "scheme": "check", "as_of": "2027-03-01",
        "groups": [{"group": {"level": "novice", "division": "open"},
                    "rows": [{"unit": "P104", "placing": 1, "shared": False, "value": "68.125", "qualified": True,
                              "counted": ["s1", "s2"], "dropped": ["s3"],
                              "requirements": [{"count": "judges", "have": 1, "need": 1, "met": True}]}]}],
    }  # fmt: skip
