from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

import scoring
from scoring.checking import check_document
from tests.scoring.championship_documents import championship, places, results

SCHEMAS = Path(scoring.__file__).parent / "schemas"


def compute(document):
    found = scoring.compute_championship(scoring.read_championship(document)).as_document()
    _valid(document)
    _valid(found)
    assert "championship-results/1" in check_document(found)
    return found


def _valid(document):
    schemas = {path.name: json.loads(path.read_text()) for path in SCHEMAS.glob("*.json")}
    registry = Registry().with_resources((schema["$id"], Resource.from_contents(schema)) for schema in schemas.values())
    name = document["format"].replace("/", "-") + ".json"
    Draft202012Validator(schemas[name], registry=registry).validate(document)


def row(found, unit):
    return next(row for row in found["rows"] if row["unit"] == unit)


def test_the_mean_of_two_classes_with_ties_by_the_artistic_part_for_the_first_three_places():
    # Olympic Games 2008, individual: mean of Special and Freestyle, equal ones by the artistic marks, places 1 to 3
    # (trade.md section 5 and 9, source OL08). The figures are invented.
    special = results("1", {"1": "74.000", "2": "76.000", "3": "70.000", "4": "66.000", "5": "68.000"})
    freestyle = results(
        "2",
        {
            "1": {"total": "78.000", "parts": {"artistic": "80.500"}},
            "2": {"total": "76.000", "parts": {"artistic": "79.000"}},
            "3": {"total": "71.500", "parts": {"artistic": "72.000"}},
            "4": {"total": "70.000", "parts": {"artistic": "71.000"}},
            "5": {"total": "68.000", "parts": {"artistic": "70.000"}},
        },
    )
    found = compute(
        championship(special, freestyle, ties=[{"by": "part", "class": 2, "part": "artistic"}], tie_places=3)
    )
    assert places(found["rows"]) == [
        ("1", 1, "76.000"),
        ("2", 2, "76.000"),
        ("3", 3, "70.750"),
        ("4", 4, "68.000"),
        ("5", 4, "68.000"),
    ]
    assert row(found, "1")["working"] == [
        "Class 1: number 1, 74.000 %",
        "Class 2: number 1, 78.000 %",
        "Mean: (74.000 + 78.000) / 2 = 76.000 %",
        "Equal with 2 on 76.000 %.",
        "Part artistic of Class 2: 80.500, against 79.000 of 2; the higher is placed first.",
    ]
    assert row(found, "1")["tie"] == {"with": ["2"], "step": "part", "value": "80.500"}
    assert row(found, "4")["working"][-1] == ("The rule parts no tie for this place: place 4 is shared with 5.")
    assert row(found, "4")["shared"] is True


def test_the_last_class_alone_decides():
    # Olympic Games 2016, individual: the Freestyle alone (trade.md section 9, source OL16). The figures are invented.
    found = compute(
        championship(
            results("1", {"1": "80.000", "2": "75.000", "3": "82.000"}),
            results("2", {"1": "79.000", "2": "81.000"}),
            method="last-class-decides",
        )
    )
    assert places(found["rows"]) == [("2", 1, "81.000"), ("1", 2, "79.000"), ("3", None, None)]
    assert row(found, "3")["reason"] == "Class 2: not in this class."
    assert row(found, "2")["working"][-1] == "The last class decides: 81.000 %"


def test_two_rounds_of_1980_ranked_by_the_last_round_only():
    # Check data rk-1980-ind: en.wikipedia.org, "Equestrian at the 1980 Summer Olympics - Individual dressage"
    # (read through the mirror wikimili.com): rank, points of the first round, points of the final.
    table = [
        (1, 1623, 1370),
        (2, 1588, 1300),
        (3, 1541, 1234),
        (4, 1254, 1231),
        (5, 1458, 1121),
        (6, 1255, 960),
        (7, 1146, 881),
        (8, 1190, 850),
        (9, 1244, 846),
        (10, 1061, 804),
        (11, 1015, 741),
        (12, 1076, 720),
        (None, 954, None),
    ]
    rank_in_first_round = {1: 1, 2: 2, 3: 3, 4: 6, 5: 4, 6: 5, 7: 9, 8: 8, 9: 7, 10: 11, 11: 12, 12: 10}
    rounds = [
        results("1", {f"e{i}": {"points": str(first)} for i, (_, first, _) in enumerate(table)}),
        results("2", {f"e{i}": {"points": str(last)} for i, (_, _, last) in enumerate(table) if last is not None}),
    ]
    found = compute(championship(*rounds, method="last-class-decides", of="points", decimals=0))
    assert [(found_row["unit"], found_row["placing"]) for found_row in found["rows"]] == [
        (f"e{i}", rank) for i, (rank, _, _) in enumerate(table)
    ]
    assert found["rows"][-1]["reason"] == "Class 2: not in this class."
    first = compute(championship(rounds[0], results("2", {}), method="total", of="points", counting=1, decimals=0))
    by_unit = {found_row["unit"]: found_row["placing"] for found_row in first["rows"]}
    assert {rank: by_unit[f"e{rank - 1}"] for rank in rank_in_first_round} == rank_in_first_round


def test_equal_points_go_to_the_higher_place_in_the_final_then_to_the_collectives_there():
    # New Zealand series, championship on points: 1 higher place in the final, 2 higher collective marks there, 3 higher
    # average percentage of the two (trade.md section 5, source NZM). The figures are invented.
    first = results(
        "1",
        {
            "1": {"total": "70.000", "placing": 1},
            "2": {"total": "69.000", "placing": 2},
            "3": {"total": "68.000", "placing": 3},
            "4": {"total": "67.000", "placing": 3},
        },
    )
    final = results(
        "2",
        {
            "1": {"total": "68.000", "placing": 2, "collectives": "40"},
            "2": {"total": "69.000", "placing": 1, "collectives": "39"},
            "3": {"total": "67.000", "placing": 3, "collectives": "41.5"},
            "4": {"total": "67.000", "placing": 3, "collectives": "41.5"},
        },
    )
    steps = [{"by": "placing", "class": 2}, {"by": "collectives", "class": 2}, {"by": "mean", "classes": [1, 2]}]
    found = compute(championship(first, final, method="total", of="placing", decimals=0, ties=steps))
    assert places(found["rows"]) == [("2", 1, "3"), ("1", 2, "3"), ("3", 3, "6"), ("4", 4, "6")]
    assert row(found, "2")["working"] == [
        "Class 1: number 2, place 2",
        "Class 2: number 2, place 1",
        "Total: 2 + 1 = 3 for places",
        "Equal with 1 on 3 for places.",
        "Place in Class 2: 1, against 2 of 1; the lower is placed first.",
    ]
    # 68 and 67 against 67 and 67: rounded like the value, 67.5 and 67 are 68 and 67 at no decimals.
    assert row(found, "3")["tie"] == {"with": ["4"], "step": "mean", "value": "68"}


def test_penalties_add_up_and_the_lowest_wins():
    classes = [
        results("1", {"1": {"total": "70.0", "penalty": "30.0"}, "2": {"total": "65.0", "penalty": "35.0"}}),
        results("2", {"1": {"total": "60.0", "penalty": "40.0"}, "2": {"total": "66.0", "penalty": "34.0"}}),
    ]
    found = compute(championship(*classes, method="total", of="penalty", decimals=1, ties=[{"by": "best-class"}]))
    assert places(found["rows"]) == [("2", 1, "69.0"), ("1", 2, "70.0")]


def test_the_best_single_class_parts_equal_penalties_by_the_lower_one():
    classes = [
        results("1", {"1": {"total": "70", "penalty": "30"}, "2": {"total": "66", "penalty": "34"}}),
        results("2", {"1": {"total": "60", "penalty": "40"}, "2": {"total": "64", "penalty": "36"}}),
    ]
    found = compute(championship(*classes, method="total", of="penalty", decimals=0, ties=[{"by": "best-class"}]))
    assert places(found["rows"]) == [("1", 1, "70"), ("2", 2, "70")]
    assert row(found, "1")["working"][-1] == "Best class: 30, against 34 of 2; the lower is placed first."


def test_the_best_two_of_three_classes_count_and_what_does_not_suffice_has_no_place():
    classes = [
        results("1", {"1": "70.000", "2": "66.000", "3": "80.000"}),
        results("2", {"1": "60.000", "2": "eliminated", "3": "retired"}),
        results("3", {"1": "64.500", "2": "69.000", "3": "running"}),
    ]
    found = compute(championship(*classes, counting=2))
    assert places(found["rows"]) == [("2", 1, "67.500"), ("1", 2, "67.250"), ("3", None, None)]
    assert [cell["counts"] for cell in row(found, "1")["classes"]] == [True, False, True]
    assert "The best 2 of 3 count: Class 1 and Class 3." in row(found, "1")["working"]
    assert row(found, "3")["reason"] == "2 classes count, but only 1 can. Class 2: retired. Class 3: still riding."


def test_a_drop_out_stands_in_for_a_class_that_ended_but_not_for_one_never_entered_or_still_running():
    classes = [
        results("1", {"1": "70.000", "2": "66.000", "3": "80.000", "4": "no-show"}),
        results("2", {"1": "eliminated", "3": "running", "4": "withdrawn"}),
    ]
    found = compute(championship(*classes, drop_out="25"))
    # Those without a place by how far they came: a drop-out in the last class, then by the first class.
    assert places(found["rows"]) == [("1", 1, "47.500"), ("4", None, None), ("3", None, None), ("2", None, None)]
    assert row(found, "1")["working"] == [
        "Class 1: number 1, 70.000 %",
        "Class 2: number 1, eliminated, which counts as 25",
        "Mean: (70.000 + 25) / 2 = 47.500 %",
    ]
    assert row(found, "1")["classes"][1]["drop_out"] is True
    assert row(found, "2")["reason"] == "Class 2: not in this class."
    assert row(found, "3")["reason"] == "Class 2: still riding."
    assert row(found, "4")["reason"] == (
        "None of the classes has a figure of its own. Class 1: no-show. Class 2: withdrawn."
    )


def test_without_a_drop_out_a_missing_total_is_listed_with_its_reason():
    found = compute(
        championship(results("1", {"1": "70.000", "2": "60.000"}), results("2", {"1": "eliminated", "2": "60.000"}))
    )
    assert places(found["rows"]) == [("2", 1, "60.000"), ("1", None, None)]
    assert row(found, "1")["reason"] == "Class 2: eliminated."


def test_entries_hors_concours_do_not_count_and_those_without_a_unit_take_no_part():
    out_of_competition = {"total": "90.000", "hors_concours": True}
    classes = [
        results("1", {"1": "70.000", "2": out_of_competition, "3": "71.000", "4": "75.000"}),
        results("2", {"1": "70.000", "2": out_of_competition, "3": out_of_competition, "4": "75.000"}),
    ]
    found = compute(championship(*classes, units={"1": "A", "2": "B", "3": "C"}))
    assert places(found["rows"]) == [("A", 1, "70.000"), ("C", None, None)]
    assert row(found, "C")["reason"] == "Class 2: not in this class."


def test_of_several_entries_of_a_unit_the_best_counts():
    units = {"1": "Rider A", "2": "Rider A", "3": "Rider B"}
    classes = [
        results("1", {"1": "eliminated", "2": "68.000", "3": "69.000"}),
        results("2", {"1": "72.000", "2": "71.000", "3": "70.000"}),
    ]
    found = compute(championship(*classes, units=units, unit="rider"))
    assert places(found["rows"]) == [("Rider A", 1, "70.000"), ("Rider B", 2, "69.500")]
    assert [cell["number"] for cell in row(found, "Rider A")["classes"]] == ["2", "1"]


@pytest.mark.parametrize(
    ("rounding", "value", "note"),
    [
        ("half-up", "70.001", "(70.0005 rounded half up)"),
        ("half-even", "70.000", "(70.0005 rounded half to even)"),
        ("down", "70.000", "(70.0005 cut)"),
    ],
)
def test_the_value_is_rounded_once_and_the_working_says_how(rounding, value, note):
    found = compute(championship(results("1", {"1": "70.000"}), results("2", {"1": "70.001"}), rounding=rounding))
    assert row(found, "1")["value"] == value
    assert row(found, "1")["working"][-1] == f"Mean: (70.000 + 70.001) / 2 = {value} % {note}"


def test_names_stand_in_the_sentences_in_place_of_ids():
    found = compute(
        championship(
            results("1", {"1": "70.000", "2": "70.000"}),
            results("2", {"1": "70.000", "2": "70.000"}),
            names={"2": "Ana Brook with Fenwick"},
        )
    )
    assert row(found, "1")["working"][-2:] == [
        "Equal with Ana Brook with Fenwick on 70.000 %.",
        "The rule parts no tie for this place: place 1 is shared with Ana Brook with Fenwick.",
    ]


def test_steps_that_lack_a_figure_separate_nothing_and_the_next_is_tried():
    classes = [
        results("1", {"1": "70", "2": "71"}),
        results("2", {"1": {"total": "71", "collectives": "30"}, "2": {"total": "70"}}),
    ]
    steps = [{"by": "collectives", "class": 2}, {"by": "total", "class": 2}]
    found = compute(championship(*classes, ties=steps))
    assert places(found["rows"]) == [("1", 1, "70.500"), ("2", 2, "70.500")]
    assert row(found, "1")["tie"]["step"] == "total"


def test_the_percentage_of_one_seat_may_decide():
    # Danish district 5, 2022: the head judge's result on day 2 (trade.md section 5, source DK1). Figures invented.
    def judged(total, seat_c):
        return {
            "total": total,
            "sheets": {"C": {"points": None, "percentage": seat_c, "place": None, "adjusted_to": None}},
        }

    classes = [
        results("1", {"1": "70.000", "2": "70.000"}),
        results("2", {"1": judged("70.000", "69.500"), "2": judged("70.000", "70.250")}),
    ]
    found = compute(championship(*classes, ties=[{"by": "seat", "class": 2, "seat": "C"}], tie_places=3))
    assert places(found["rows"]) == [("2", 1, "70.000"), ("1", 2, "70.000")]


def team(name, placing, value):
    return {"team": name, "placing": placing, "value": value, "counting": []}


def test_team_results_of_the_classes_add_up():
    # Olympic Games 2016, teams: the three best totals from both classes (trade.md section 9, source OL16); each class
    # counts its three best. The figures are invented.
    first = results("1", {}, teams=[team("Green", 1, "231.500"), team("Blue", 2, "230.000"), team("Red", None, None)])
    second = results("2", {}, teams=[team("Blue", 1, "235.000"), team("Green", 2, "233.500"), team("Red", 3, "200.0")])
    rule = {"from": "classes", "method": "sum", "ties": [{"by": "placing", "class": 2}]}
    found = compute(championship(first, second, teams=rule))
    assert places(found["teams"]) == [("Blue", 1, "465.000"), ("Green", 2, "465.000"), ("Red", None, None)]
    assert found["teams"][0]["working"] == [
        "Class 1: 230.000",
        "Class 2: 235.000",
        "Total: 230.000 + 235.000 = 465.000",
        "Equal with Green on 465.000.",
        "Place in Class 2: 1, against 2 of Green; the lower is placed first.",
    ]
    assert found["teams"][2]["reason"] == "Class 1: too few counting scores."


def test_teams_by_their_places_the_fewest_win():
    # Nations Cup 2018: 1 for first, 2 for second, in three competitions; the fewest win (trade.md section 9, DN18).
    classes = [
        results("1", {}, teams=[team("A", 1, "200"), team("B", 2, "199"), team("C", 3, "198")]),
        results("2", {}, teams=[team("A", 3, "190"), team("B", 1, "199"), team("C", 2, "198")]),
        results("3", {}, teams=[team("A", 2, "195"), team("B", 2, "195"), team("C", 1, "198")]),
    ]
    rule = {"from": "classes", "method": "sum", "of": "placing", "ties": [{"by": "value", "class": 3}]}
    found = compute(championship(*classes, teams=rule, decimals=0))
    assert places(found["teams"]) == [("B", 1, "5"), ("C", 2, "6"), ("A", 3, "6")]
    best_two = compute(championship(*classes, teams=rule | {"counting": 2, "ties": [{"by": "best-class"}]}, decimals=0))
    assert [(name, value) for name, _, value in places(best_two["teams"])] == [("A", "3"), ("B", "3"), ("C", "3")]
    assert {row["placing"] for row in best_two["teams"]} == {1}


def test_the_three_best_members_over_all_phases_make_a_team():
    # Check data we-25, olympedia.org/results/310008 (2012): totals 71.70, 50.60, 44.80, 40.60, 48.30; team 133.70, the
    # sum of the three best totals.
    phases = [["58.50", "5.20", "8.00"], ["39.80", "10.80", "0"], ["40.00", "4.80", "0"], ["40.60", "0", "0"]]
    phases.append(["39.30", "0", "9.00"])
    classes = [
        results(f"{n}", {f"{i}": {"total": "0", "penalty": row[n]} for i, row in enumerate(phases, start=1)})
        for n in range(3)
    ]
    rule = {"from": "units", "method": "sum", "counting": 3, "members": {str(n): "One" for n in range(1, 6)}}
    found = compute(championship(*classes, method="total", of="penalty", decimals=2, teams=rule))
    assert {unit: value for unit, _, value in places(found["rows"])} == {
        "1": "71.70",
        "2": "50.60",
        "3": "44.80",
        "4": "40.60",
        "5": "48.30",
    }
    assert places(found["teams"]) == [("One", 1, "133.70")]
    counting = [member["unit"] for member in found["teams"][0]["members"] if member["counts"]]
    assert counting == ["3", "4", "5"]
    assert found["teams"][0]["classes"] == []


def test_a_member_without_a_value_counts_25():
    # Adult teams 2011: eliminated or withdrawn counts 25 %, mean over the members: 65.0, 62.5, 60.0, eliminated give
    # 53.125 (trade.md, check value 45, source UA11).
    classes = [
        results("1", {"1": "65.0", "2": "62.5", "3": "60.0", "4": "eliminated"}),
        results("2", {"1": "65.0", "2": "62.5", "3": "60.0", "4": "eliminated"}),
    ]
    rule = {"from": "units", "method": "mean", "drop_out": "25", "members": dict.fromkeys("1234", "Green")}
    found = compute(championship(*classes, teams=rule))
    assert places(found["teams"]) == [("Green", 1, "53.125")]
    assert found["teams"][0]["working"][-1] == "Mean: (65.000 + 62.500 + 60.000 + 25) / 4 = 53.125 %"


def test_best_three_of_four_and_equal_teams_go_by_their_worst_counting_member():
    # European championship: 76.500, 72.100, 70.000 of 68.300 are 218.600 (trade.md, check value 43); equal teams by the
    # lowest-placed counting rider (source EU25a).
    members = {"76.500": "A", "72.100": "A", "70.000": "A", "68.300": "A", "76.600": "B", "72.300": "B", "69.700": "B"}
    classes = [results(n, {total: total for total in members}) for n in "12"]
    rule = {"from": "units", "method": "sum", "counting": 3, "members": members}
    found = compute(championship(*classes, teams=rule))
    assert places(found["teams"]) == [("A", 1, "218.600"), ("B", 2, "218.600")]
    assert found["teams"][1]["working"][-1] == (
        "Worst value that counts: 69.7, against 70 of A; the higher is placed first."
    )


def test_the_command_line_computes_a_championship(tmp_path):
    path = tmp_path / "championship.json"
    path.write_text(json.dumps(championship(results("1", {"1": "70"}), results("2", {"1": "71"}))))
    run = subprocess.run(
        [sys.executable, "-m", "scoring", "championship", path], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0
    assert json.loads(run.stdout)["rows"][0]["value"] == "70.500"
    check = subprocess.run(
        [sys.executable, "-m", "scoring", "check", path], capture_output=True, text=True, check=False
    )
    assert check.stdout == (
        'A championship, championship/1, "linden-championship", 2 classes, 1 pair. Its results can be computed.\n'
    )


def test_the_command_line_refuses_with_every_problem(tmp_path):
    path = tmp_path / "championship.json"
    path.write_text(json.dumps(championship(results("1", {"1": "70"}), results("1", {"1": "71"}), decimals="x")))
    run = subprocess.run(
        [sys.executable, "-m", "scoring", "championship", path], capture_output=True, text=True, check=False
    )
    assert (run.returncode, run.stdout) == (2, "")
    assert [problem["path"] for problem in json.loads(run.stderr)["errors"]] == [
        "decimals",
        "classes[1].results.class",
    ]
