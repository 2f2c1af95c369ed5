from __future__ import annotations

import copy

import pytest

import scoring
from scoring.checking import check_document
from tests.scoring.championship_documents import championship, results


def problems(document):
    with pytest.raises(scoring.InvalidDocument) as refused:
        scoring.read_championship(document)
    return [(problem.path, problem.message) for problem in refused.value.problems]


def good(**changes):
    with_parts = {"total": "70.000", "parts": {"artistic": "71.000"}, "sheets": None}
    return championship(results("1", {"1": "70.000"}), results("2", {"1": with_parts}), **changes)


@pytest.mark.parametrize(
    ("changes", "path", "says"),
    [
        ({"format": "class/1"}, "format", '"championship/1" is needed here'),
        ({"id": " "}, "id", "Give a text"),
        ({"method": "median"}, "method", "total, mean, last-class-decides"),
        ({"method": None}, "method", "missing"),
        ({"of": "marks"}, "of", "total, penalty, points, placing"),
        ({"unit": "team"}, "unit", "pair, rider, horse"),
        ({"decimals": 10}, "decimals", "from 0 to 9"),
        ({"decimals": None}, "decimals", "missing"),
        ({"counting": 3}, "counting", "from 1 to 2"),
        ({"rounding": "up"}, "rounding", "half-up, half-even, down"),
        ({"drop_out": "-1"}, "drop_out", "at least 0"),
        ({"drop_out": 0.5}, "drop_out", "plain decimal"),
        ({"method": "last-class-decides", "counting": 1}, "counting", "Set it to null"),
        ({"method": "last-class-decides", "drop_out": "25"}, "drop_out", "Set it to null"),
        ({"tie_places": 0}, "tie_places", "from 1"),
        ({"ties": [{"by": "median"}]}, "ties[0].by", "best-class"),
        ({"ties": [{"by": "total"}]}, "ties[0].class", "missing"),
        ({"ties": [{"by": "total", "class": 3}]}, "ties[0].class", "from 1 to 2"),
        ({"ties": [{"by": "part", "class": 2}]}, "ties[0].part", "missing"),
        ({"ties": [{"by": "part", "class": 2, "part": "artistik"}]}, "ties[0].part", "Give one of: artistic."),
        ({"ties": [{"by": "best-class", "class": 1}]}, "ties[0].class", "not known here"),
        ({"ties": [{"by": "mean", "classes": [1, 1]}]}, "ties[0].classes[1]", "stands twice"),
        ({"ties": [{"by": "mean", "classes": [0]}]}, "ties[0].classes[0]", "numbers from 1 to 2"),
        ({"ties": [{"by": "mean", "classes": [True]}]}, "ties[0].classes[0]", "true is no class here"),
        ({"ties": [{"by": "mean", "classes": []}]}, "ties[0].classes", "No class is named"),
        ({"ties": [{"by": "best-class"}] * 21}, "ties", "more than 20"),
        ({"sources": [1]}, "sources[0]", "Give a text"),
        ({"names": {"1": 7}}, "names.1", "Give a text"),
        ({"nmaes": {}}, "nmaes", "Correct its spelling"),
        ({"teams": {"from": "sheets", "method": "sum"}}, "teams.from", "classes, units"),
        ({"teams": {"from": "classes", "method": "best"}}, "teams.method", "sum, mean"),
        ({"teams": {"from": "classes", "method": "sum", "drop_out": "1"}}, "teams.drop_out", "Set this to null"),
        (
            {"teams": {"from": "classes", "method": "sum", "members": {"1": "A"}}},
            "teams.members",
            "Leave the members out",
        ),
        (
            {"teams": {"from": "classes", "method": "sum", "ties": [{"by": "total", "class": 1}]}},
            "teams.ties[0].by",
            "value, placing, best-class",
        ),
        ({"teams": {"from": "units", "method": "sum"}}, "teams.members", "Name the team of each unit"),
        (
            {"teams": {"from": "units", "method": "sum", "of": "placing", "members": {"1": "A"}}},
            "teams.of",
            "Leave this out",
        ),
        (
            {"teams": {"from": "units", "method": "sum", "ties": [], "members": {"1": "A"}}},
            "teams.ties",
            "Leave this out",
        ),
        ({"of": "points"}, "classes[0].results.entries[0].points", "has no points, which is what counts"),
        ({"classes": []}, "classes", "2 to 20"),
        ({"classes": {}}, "classes", "square brackets"),
    ],
)
def test_what_is_wrong_is_said_where_it_stands(changes, path, says):
    found = problems(good(**changes))
    assert any(where == path and says in sentence for where, sentence in found), found


def test_faults_of_the_classes_are_found_all_at_once():
    document = good()
    document["classes"][0]["units"] = {"1": "A", "7": "B", "8": ""}
    document["classes"][1]["results"]["entries"][0]["total"] = 70
    document["classes"][1]["unit"] = {}
    assert {path for path, _ in problems(document)} == {
        "classes[0].units.7",
        "classes[0].units.8",
        "classes[1].results.entries[0].total",
        "classes[1].unit",
    }


def test_a_class_stands_once_and_nothing_is_below_nought():
    document = championship(results("1", {"1": "70"}), results("1", {"1": {"total": "-3"}}))
    assert {path for path, _ in problems(document)} == {"classes[1].results.class", "classes[1].results.entries[0]"}


def test_a_class_without_entries_yet_can_be_computed():
    document = championship(results("1", {"1": "70"}), results("2", {}))
    rows = scoring.compute_championship(scoring.read_championship(document)).rows
    assert [row.reason for row in rows] == ["Class 2: not in this class."]


def test_keys_of_ones_own_are_left_alone():
    document = good(**{"x-show": "Linden"})
    document["classes"][0]["x-note"] = 1
    assert scoring.read_championship(document).rules.id == "linden-championship"


@pytest.mark.parametrize("value", [None, 7, "text", [], {}, True])
def test_any_value_in_any_place_is_refused_or_read_but_never_breaks(value):
    document = good(
        ties=[{"by": "part", "class": 2, "part": "artistic"}, {"by": "mean", "classes": [1]}],
        teams={"from": "classes", "method": "sum", "ties": [{"by": "placing", "class": 1}]},
    )
    for path in _paths(document):
        changed = copy.deepcopy(document)
        _put(changed, path, value)
        try:
            found = scoring.compute_championship(scoring.read_championship(changed)).as_document()
        except scoring.InvalidDocument as refused:
            sentences = [problem.message for problem in refused.problems]
        else:
            sentences = [check_document(found)]
        assert all(sentence.endswith(".") for sentence in sentences)


def test_the_rule_can_be_read_without_its_classes():
    rule = {"format": "championship/1", "id": "r", "method": "mean", "decimals": 3, "counting": 2}
    assert scoring.read_championship_rules(rule, classes=2).counting == 2
    with pytest.raises(scoring.InvalidDocument) as refused:
        scoring.read_championship_rules(rule | {"classes": [], "counting": 3}, classes=2)
    assert [problem.path for problem in refused.value.problems] == ["counting", "classes"]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda found: found.pop("method"), "method"),
        (lambda found: found["rows"][0].pop("tie"), "rows[0].tie"),
        (lambda found: found["rows"][0].update(value=None), "rows[0].value"),
        (lambda found: found["rows"][0].update(value=70), "rows[0].value"),
        (lambda found: found["rows"][0].update(reason="late"), "rows[0].reason"),
        (lambda found: found["rows"].append(found["rows"][0]), "rows"),
        (lambda found: found["rows"][0]["classes"][0].update(status="lost"), "rows[0].classes[0].status"),
        (lambda found: found["rows"][0]["classes"][0].pop("counts"), "rows[0].classes[0].counts"),
        (lambda found: found["rows"][0].update(working=[1]), "rows[0].working[0]"),
        (lambda found: found["rows"][0].update(members=[]), "rows[0].members"),
        (lambda found: found.update(row=[]), "row"),
    ],
)
def test_results_made_elsewhere_are_checked(change, path):
    found = scoring.compute_championship(scoring.read_championship(good())).as_document()
    assert check_document(found) == (
        'Results, championship-results/1, of championship "linden-championship", 1 row. Their shape is right.'
    )
    change(found)
    with pytest.raises(scoring.InvalidDocument) as refused:
        check_document(found)
    assert path in [problem.path for problem in refused.value.problems]


def _paths(value, path=()):
    if path:
        yield path
    members = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, member in members:
        yield from _paths(member, (*path, key))


def _put(document, path, value):
    *way, last = path
    for key in way:
        document = document[key]
    document[last] = value
