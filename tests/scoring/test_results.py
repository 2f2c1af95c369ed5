"""Whole classes computed by hand: statuses, order, parts, teams and what comes off."""

from __future__ import annotations

import pytest

import scoring
from tests.scoring.documents import changed, freestyle_class, points_class, small_class


def compute(document):
    return scoring.compute_results(scoring.read_class(document))


def rows(document):
    return {row.number: row for row in compute(document).entries}


def percentages(entries, *, rules=None, teams=None, maximum=None):
    """Build a class of one seat from ``{number: percentage}`` or ``{number: {whole entry}}``."""
    found = []
    for number, value in entries.items():
        entry = value if isinstance(value, dict) else {"sheets": {"C": {"percentage": value}}}
        found.append({"number": number, "status": "completed", "sheets": {}, **entry})
    return {
        "format": "class/1",
        "id": "c",
        "test": None,
        "rules": rules or scoring.rule_sets()["half-and-one-percent"],
        "maximum": maximum,
        "panel": [{"seat": "C"}],
        "entries": found,
        "teams": teams,
    }


def test_a_small_class_by_hand():
    """Entry 12: C 6.5 + 2 x 7 + 7 = 27.5 - 2 = 25.5; B 7 + 12 + 6.5 = 25.5 - 2 - 2 = 21.5. Entry 9: 24 and 24."""
    found = rows(small_class())
    first, second = found["9"], found["12"]
    assert (first.placing, first.points, first.total) == (1, "48", "60.000")
    assert {seat: (sheet.points, sheet.percentage, sheet.place) for seat, sheet in second.sheets.items()} == {
        "C": ("25.5", "63.750", 1),
        "B": ("21.5", "53.750", 2),
    }
    assert (second.placing, second.points, second.total, second.collectives) == (2, "47", "58.750", "13.5")
    assert (found["15"].placing, found["15"].total, found["15"].reason) == (None, None, "horse unsettled")
    assert (found["20"].so_far, found["20"].total, found["20"].placing) == ("70.000", None, None)


def test_the_document_holds_exactly_the_keys_of_the_contract():
    document = compute(small_class()).as_document()
    assert list(document) == ["format", "class", "rules", "entries", "teams"]
    assert (document["format"], document["class"], document["rules"]) == (
        "results/1",
        "c7",
        "points-errors-collectives",
    )
    assert list(document["entries"][0]) == [
        "number",
        "status",
        "hors_concours",
        "placing",
        "shared",
        "total",
        "points",
        "penalty",
        "so_far",
        "sheets",
        "parts",
        "collectives",
        "tie",
        "reason",
        "working",
    ]
    assert list(document["teams"][0]) == ["team", "placing", "value", "counting"]


def test_order_of_the_output():
    entries = {
        "20": {"status": "running"},
        "10": {"status": "no-show"},
        "9": {"status": "no-show"},
        "8": {"status": "withdrawn"},
        "7": {"status": "retired"},
        "6": {"status": "eliminated"},
        "5": {"hors_concours": True, "sheets": {"C": {"percentage": "80"}}},
        "4": "55",
        "3": "58",
        "12": "70",
        "2": "70",
        "1": "72",
    }
    rules = scoring.rule_sets()["half-and-one-percent"] | {"minimum_for_place": "60"}
    found = compute(percentages(entries, rules=rules)).entries
    assert [row.number for row in found] == ["1", "2", "12", "5", "3", "4", "6", "7", "8", "9", "10", "20"]
    assert [row.placing for row in found[:6]] == [1, 2, 2, None, None, None]


def test_hors_concours_has_figures_but_no_place_anywhere():
    entries = {"1": "70", "2": {"hors_concours": True, "sheets": {"C": {"percentage": "80"}}}, "3": "65"}
    found = rows(percentages(entries))
    assert (found["2"].total, found["2"].placing, found["2"].sheets["C"].place) == ("80.000", None, None)
    assert (found["1"].placing, found["3"].placing) == (1, 2)
    assert found["1"].sheets["C"].place == 1
    assert found["2"].working[-1] == "Rides hors concours: no place."


def test_hors_concours_hidden_is_kept_off_the_document():
    rules = scoring.rule_sets()["sum-of-points"]
    entries = {
        "1": {"sheets": {"C": {"points": "300"}}},
        "2": {"hors_concours": True, "sheets": {"C": {"points": "310"}}},
    }
    results = compute(percentages(entries, rules=rules, maximum="460"))
    assert [row["number"] for row in results.as_document()["entries"]] == ["1"]
    assert [(row.number, row.total) for row in results.hidden] == [("2", "67.391")]


def test_eliminated_rides_may_be_marked_but_have_no_total():
    document = changed(small_class(), "entries[0].errors", 3)
    row = rows(document)["12"]
    assert (row.status, row.reason, row.total, row.points) == ("eliminated", "errors of course", None, None)
    assert [sheet.place for sheet in row.sheets.values()] == [None, None]
    assert row.working == ("Eliminated: 3 errors of course, and error 3 eliminates.",)


def test_a_reason_that_the_office_wrote_changes_no_working():
    document = changed(small_class(), "entries[1].reason", "errors of course")
    assert rows(document)["9"].working == rows(small_class())["9"].working


def test_an_error_too_many_eliminates_a_running_ride():
    document = changed(small_class(), "entries[3].errors", 3)
    assert (rows(document)["20"].status, rows(document)["20"].so_far) == ("eliminated", None)


def test_a_status_that_the_office_gave_stays():
    document = changed(small_class(), "entries[2].errors", 3)
    assert (rows(document)["15"].status, rows(document)["15"].reason) == ("retired", "horse unsettled")


def test_an_error_beyond_the_steps_costs_the_last_step_again():
    rules = scoring.rule_sets()["half-and-one-percent"]
    rules["errors"]["eliminated_at"] = None
    found = rows(percentages({"1": {"errors": 4, "sheets": {"C": {"percentage": "70"}}}}, rules=rules))
    assert found["1"].total == "66.500"
    assert found["1"].working[-2] == "Total: 70.000 - 3.5 for 4 errors of course (0.5 + 1 + 1 + 1) = 66.500 %"


def test_errors_without_a_rule_cost_nothing_and_say_so():
    rules = scoring.rule_sets()["half-and-one-percent"] | {"errors": None}
    found = rows(percentages({"1": {"errors": 2, "sheets": {"C": {"percentage": "70"}}}}, rules=rules))
    assert (found["1"].total, found["1"].status) == ("70.000", "completed")
    assert found["1"].working[-2] == "Nothing comes off for 2 errors of course under this rule set."


def test_nothing_goes_below_zero():
    document = small_class()
    document["entries"][0]["deductions"] = [{"off": "sheet-points", "amount": "500", "seat": "C"}]
    row = rows(document)["12"]
    assert (row.sheets["C"].points, row.sheets["C"].percentage) == ("0", "0.000")
    document["entries"][0]["deductions"] = [{"off": "total-percentage", "amount": "99"}]
    assert rows(document)["12"].total == "0.000"


@pytest.mark.parametrize(("amount", "total"), [("0.25", "69.8"), ("0.3", "69.7")])
def test_an_amount_finer_than_the_total_is_rounded_once_more(amount, total):
    rules = scoring.rule_sets()["half-and-one-percent"]
    rules["total"]["decimals"] = 1
    off = [{"off": "total-percentage", "amount": amount}]
    entry = {"deductions": off, "sheets": {"C": {"percentage": "70"}}}
    assert rows(percentages({"1": entry}, rules=rules))["1"].total == total


def test_running_rides_count_only_the_items_marked():
    """C: 7 + 2 x 6 = 19 of 30; B: 8 of 10; (63.333 + 80) / 2."""
    document = changed(
        small_class(), "entries[3].sheets", {"C": {"marks": {"1": "7", "4": "6"}}, "B": {"marks": {"G1": "8"}}}
    )
    row = rows(document)["20"]
    assert row.so_far == "71.667"
    assert row.sheets["C"].percentage == "63.333"
    document = changed(document, "entries[3].sheets", {})
    assert rows(document)["20"].so_far is None


def test_running_rides_by_points():
    rules = scoring.rule_sets()["sum-of-points"]
    document = changed(small_class(), "rules", rules)
    document = changed(
        document, "entries[3].sheets", {"C": {"marks": {"1": "7", "4": "6"}}, "B": {"marks": {"G1": "8"}}}
    )
    assert rows(document)["20"].so_far == "67.500"  # 27 of 40


def test_parts_by_hand():
    """Technical: C (7 + 13) / 30 = 66.667, E 18 / 30 = 60; artistic: B 73, E 71. (63.334 + 72) / 2."""
    document = freestyle_class()
    row = rows(document)["1"]
    assert row.sheets["E"].percentage == "65.500"
    assert row.parts == {"technical": "63.334", "artistic": "72.000"}
    assert row.total == "67.667"
    assert row.working == (
        "C: technical 20 points of 30 = 66.667 % (66.666666... rounded half up)",
        "B: artistic 29.2 points of 40 = 73.000 %",
        "E: technical 18 points of 30 = 60.000 %",
        "E: artistic 28.4 points of 40 = 71.000 %",
        "E: (60.000 x 1 + 71.000 x 1) / 2 = 65.500 %",
        "technical: (66.667 + 60.000) / 2 = 63.334 % (63.3335 rounded half up)",
        "artistic: (73.000 + 71.000) / 2 = 72.000 %",
        "Total: (63.334 x 1 + 72.000 x 1) / 2 = 67.667 %",
        "No entry is placed before this one, so the place is 1.",
    )


def test_parts_where_every_seat_marks_all():
    document = freestyle_class()
    document["panel"] = [{"seat": "E"}]
    document["entries"][0]["sheets"] = {"E": document["entries"][0]["sheets"]["E"]}
    row = rows(document)["1"]
    assert (row.total, row.parts) == ("65.500", {"technical": "60.000", "artistic": "71.000"})


def test_deductions_from_parts():
    document = freestyle_class()
    document["entries"][0]["deductions"] = [
        {"off": "part-percentage", "amount": "0.5", "part": "artistic", "reason": "over time"},
        {"off": "sheet-points", "amount": "3", "reason": "whip"},
    ]
    row = rows(document)["1"]
    assert row.parts == {"technical": "53.334", "artistic": "71.500"}
    assert row.working[1] == "B: artistic 29.2 points of 40 = 73.000 % - 0.5 for over time = 72.500 %"
    assert row.working[0] == "C: technical 20 points - 3 for whip = 17 of 30 = 56.667 % (56.666666... rounded half up)"


def test_naming_the_usual_part_changes_nothing_where_there_are_no_parts():
    document = changed(small_class(), "entries[0].deductions[0].part", "technical")
    assert compute(document) == compute(small_class())


def test_a_percentage_of_one_part():
    document = freestyle_class()
    document["entries"][0]["sheets"]["B"] = {"percentage": "73"}
    assert rows(document)["1"].total == "67.667"


def test_points_and_percentages_side_by_side():
    row = rows(points_class())["1"]
    assert {seat: (sheet.points, sheet.percentage) for seat, sheet in row.sheets.items()} == {
        "C": ("319", "69.348"),
        "E": (None, "67.273"),
    }
    assert (row.total, row.points, row.collectives) == ("68.311", None, None)


def test_a_percentage_finer_than_the_rule_set_is_taken_as_it_is():
    rules = scoring.rule_sets()["points-errors-two-decimals"]
    row = rows(percentages({"1": "67.2735"}, rules=rules))["1"]
    assert (row.sheets["C"].percentage, row.total) == ("67.2735", "67.27")


def test_points_take_the_maximum_of_the_test():
    document = changed(small_class(), "entries[1].sheets.C", {"points": "24"})
    assert rows(document)["9"].sheets["C"].percentage == "60.000"


def test_places_under_each_seat_share_and_skip():
    document = percentages({"1": "70", "2": "70", "3": "65", "4": {"status": "retired"}})
    assert {number: row.sheets["C"].place for number, row in rows(document).items() if row.sheets} == {
        "1": 1,
        "2": 1,
        "3": 3,
    }


def test_exact_sheets_are_compared_exactly_under_a_seat():
    """Both are shown as 69.6 at one decimal, but one sheet has half a point more."""
    rules = scoring.rule_sets()["sum-of-points"] | {"sheet_percentage": {"decimals": None}}
    rules["total"]["decimals"] = 1
    entries = {number: {"sheets": {"C": {"points": points}}} for number, points in (("1", "320"), ("2", "320.1"))}
    found = rows(percentages(entries, rules=rules, maximum="460"))
    assert {row.sheets["C"].percentage for row in found.values()} == {"69.6"}
    assert {number: row.sheets["C"].place for number, row in found.items()} == {"1": 2, "2": 1}
    assert {row.placing for row in found.values()} == {1}


def test_below_the_minimum_there_is_no_place():
    rules = scoring.rule_sets()["half-and-one-percent"] | {"minimum_for_place": "60"}
    found = rows(percentages({"1": "60", "2": "59.999"}, rules=rules))
    assert (found["1"].placing, found["2"].placing, found["2"].total) == (1, None, "59.999")
    assert found["2"].working[-1] == "No place: 59.999 is below 60, the least for a place."


def test_lower_penalty_wins_and_equal_penalties_tie():
    rules = scoring.rule_sets()["eventing-penalty"]
    found = rows(percentages({"1": "62.68", "2": "62.70", "3": "65"}, rules=rules))
    assert {number: (row.placing, row.penalty) for number, row in found.items()} == {
        "3": (1, "35.0"),
        "1": (2, "37.3"),
        "2": (2, "37.3"),
    }
    assert found["1"].working[-3:] == (
        "Penalty: 100 - 62.68 = 37.3 (37.32 rounded half up)",
        "Equal with number 2 on 37.3 penalties.",
        "No step of the rule set parts them: place 2 is shared with number 2.",
    )


TEAM = {"counting": 3, "method": "sum", "of": "percentage", "drop_out": None}


def team_entries(**teams):
    entries = {}
    for team, values in teams.items():
        for index, value in enumerate(values):
            number = f"{team}{index}"
            if value is None:
                entries[number] = {"team": team, "status": "eliminated"}
            else:
                entries[number] = {"team": team, "sheets": {"C": {"percentage": value}}}
    return entries


def teams(document):
    return [(team.team, team.placing, team.value, list(team.counting)) for team in compute(document).teams]


def test_best_three_count_and_too_few_have_no_place():
    document = percentages(team_entries(A=["70", "60", "65", "66"], B=["71", "72", None]), teams=TEAM)
    assert teams(document) == [("A", 1, "201.000", ["A0", "A3", "A2"]), ("B", None, None, ["B1", "B0"])]


def test_a_member_without_a_total_counts_with_the_drop_out_score():
    document = percentages(team_entries(B=["71", "72", None]), teams=TEAM | {"drop_out": "25", "method": "mean"})
    assert teams(document) == [("B", 1, "56.000", ["B1", "B0", "B2"])]


def test_a_running_member_does_not_count_yet():
    entries = team_entries(B=["71", "72"]) | {"B9": {"team": "B", "status": "running"}}
    assert teams(percentages(entries, teams=TEAM | {"drop_out": "25"})) == [("B", None, None, ["B1", "B0"])]


def test_members_hors_concours_do_not_count():
    entries = team_entries(A=["70", "60", "65"])
    entries["A9"] = {"team": "A", "hors_concours": True, "sheets": {"C": {"percentage": "90"}}}
    assert teams(percentages(entries, teams=TEAM))[0][2] == "195.000"


def test_equal_teams_are_parted_by_the_better_lowest_score_else_share():
    document = percentages(
        team_entries(A=["70", "60", "65"], B=["65", "65", "65"], C=["69", "61", "65"], D=["65", "65", "65"]), teams=TEAM
    )
    assert [(team, place) for team, place, *_ in teams(document)] == [("B", 1), ("D", 1), ("C", 3), ("A", 4)]


def test_lowest_penalties_count_for_a_team():
    rules = scoring.rule_sets()["eventing-penalty"]
    document = percentages(
        team_entries(A=["70", "60", "65"], B=["64", "66", "50"]),
        teams=TEAM | {"of": "penalty", "counting": 2},
        rules=rules,
    )
    assert teams(document) == [("A", 1, "65.00", ["A0", "A2"]), ("B", 2, "70.00", ["B1", "B0"])]


def test_entries_may_be_none():
    assert compute(percentages({})).as_document()["entries"] == []


def test_scales_and_coefficients_of_a_class_with_fractions():
    """Coefficient 1.5 and 0.25: 7 x 1.5 + 6.5 x 0.25 = 12.125 of 17.5."""
    test = {
        "format": "test/1",
        "id": "t",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": [{"id": "1", "coefficient": "1.5"}, {"id": "2", "coefficient": "0.25"}],
        "maximum": "17.5",
    }
    document = percentages({}) | {
        "test": test,
        "entries": [{"number": "1", "status": "completed", "sheets": {"C": {"marks": {"1": "7", "2": "6.5"}}}}],
    }
    assert (rows(document)["1"].points, rows(document)["1"].total) == ("12.125", "69.286")
