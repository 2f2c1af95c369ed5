import copy

import pytest

from scoring import season
from scoring.documents import InvalidDocument, load_json
from scoring.season.steps import number_of
from tests.scoring.season.season_builders import scheme

GOOD = {
    "format": "scheme/1",
    "id": "qualifying-average",
    "title": "Qualifying average",
    "sources": ["invented"],
    "mode": "rank",
    "unit": "pair",
    "group_by": ["level", "division"],
    "season": {"from": "2026-10-01", "to": "2027-09-30"},
    "eligible": [
        {"field": "member", "is": True},
        {"any": [{"field": "kind", "in": ["set"]}, {"not": {"field": "date", "before": "2027-01-01"}}]},
        {"field": "percentage", "at_least_by": {"level": {"novice": {"division": {"open": "66"}}, "*": "60"}}},
    ],
    "rerank": ["class"],
    "limit": [{"keep": "best", "number": 1, "per": ["competition"]}],
    "score": [
        {"take": "percentage"},
        {"places": {"1": "6", "*": "1"}, "shared": "mean"},
        {"places_by_starters": {"1": {"1": "1"}, "2-4": {"1": "2"}, "5+": {"1": "3"}}},
        {"from_starters": {"most": "6"}},
        {"riders_beaten": "1"},
        {"bands": [["60", "1"], ["62", "2"]], "below": "0"},
        {"multiply": "1.5"},
        {"divide": "10"},
        {"add": "1"},
        {"multiply_by": {"level": {"A": "0.75", "*": "1"}}},
        {"add_by": {"test": {"T1": "1"}}},
        {"linear": {"kind": {"set": ["10", "-500"]}}},
        {"round": {"decimals": 0, "rounding": "half-up"}},
        {"plus": [{"constant": "1"}]},
        {"when": {"field": "hors_concours", "is": True}, "then": [{"constant": "0"}], "else": []},
    ],
    "require": [
        {"count": "scores", "at_least": 8},
        {"count": "competitions", "share_of_competitions": "0.5"},
        {"any_of": [{"count": "judges", "at_least": 4}, [{"count": "venues", "at_least": 2}]]},
    ],
    "value": {
        "first": {"by": ["kind"], "take": {"best": 2}, "aggregate": "mean", "round": {"decimals": 2}},
        "drop_lowest": {"number": 1, "when_more_than": 5, "protect": True},
        "take": {
            "best": {"competitions_minus": 1, "at_most": 4},
            "must": [{"count": "judges", "at_least": 2}],
            "plus_all": {"field": "kind", "is": "final"},
        },
        "aggregate": "median",
        "add_per_score": "0.5",
        "add": [{"when": {"count": "competitions", "at_least": 4}, "amount": "5"}],
        "add_field": "horse_age",
    },
    "decimals": 3,
    "rounding": "half-up",
    "order": "descending",
    "threshold": {"level": {"novice": "60", "*": "58"}},
    "ties": [
        {"by": "best-score"},
        {"by": "better-in", "where": {"field": "kind", "is": "final"}},
        {"by": "more", "count": "competitions"},
    ],
    "after": [
        {"keep": "highest", "of": "level", "order": ["novice", "medium"], "number": 1},
        {"one_per": "rider"},
        {"places": 6},
        {"minimum_units": 3},
        {"exclude": ["P12"]},
    ],
    "x-note": "kept by whoever wrote it",
}


def with_change(path, value):
    document = copy.deepcopy(GOOD)
    part = document
    for key in path[:-1]:
        part = part[key]
    if value is None:
        del part[path[-1]]
    else:
        part[path[-1]] = value
    return document


def problems_of(document):
    with pytest.raises(InvalidDocument) as refused:
        season.read_scheme(document)
    return [(problem.path, problem.message) for problem in refused.value.problems]


def test_the_whole_grammar_reads_and_can_be_said_in_words():
    scheme = season.read_scheme(GOOD)
    assert len(scheme.score) == 15
    sentences = season.describe_scheme(scheme)
    assert len(sentences) > 25
    assert all(sentence.endswith(".") and "  " not in sentence for sentence in sentences)


def test_a_scheme_is_frozen_and_equal_to_itself_read_again():
    scheme = season.read_scheme(GOOD)
    with pytest.raises(AttributeError):
        scheme.mode = "qualify"
    assert season.read_scheme(copy.deepcopy(GOOD)) == scheme


FAULTS = [
    (("format",), "scheme/2", "format"),
    (("format",), None, "format"),
    (("id",), None, "id"),
    (("unit",), None, "unit"),
    (("unit",), "stable", "unit"),
    (("unit",), "", "unit"),
    (("unit",), "judges", "unit"),
    (("mode",), "rnk", "mode"),
    (("mode",), "achieve", "tiers"),
    (("value",), None, "value"),
    (("colour",), "red", "colour"),
    (("group_by",), ["levl"], "group_by[0]"),
    (("group_by",), ["level", "level", "division"], "group_by"),
    (("group_by",), ["level", "pair"], "group_by"),
    (("season",), {"from": "2027-02-30"}, "season.from"),
    (("season",), {"from": "2027-02-01", "to": "2027-01-01"}, "season.to"),
    (("season",), {"from": "2027-02-01", "lifetime": True}, "season"),
    (("season",), {}, "season"),
    (("season",), {"rolling_months": 0}, "season.rolling_months"),
    (("season",), {"rollin_months": 12}, "season.rollin_months"),
    (("eligible", 0), {"field": "membr", "is": True}, "eligible[0].field"),
    (("eligible", 0), {"field": "member", "is": "true"}, "eligible[0].is"),
    (("eligible", 0), {"field": "member", "is": True, "in": [True]}, "eligible[0]"),
    (("eligible", 0), {"field": "member"}, "eligible[0]"),
    (("eligible", 0), {"field": "member", "iss": True}, "eligible[0].iss"),
    (("eligible", 0), {"field": "level", "at_least": "60"}, "eligible[0].at_least"),
    (("eligible", 0), {"field": "percentage", "at_least": "sixty"}, "eligible[0].at_least"),
    (("eligible", 0), {"field": "percentage", "at_least": 60.5}, "eligible[0].at_least"),
    (("eligible", 0), {"field": "percentage", "before": "2027-01-01"}, "eligible[0].before"),
    (("eligible", 0), {"field": "date", "before": "1 May"}, "eligible[0].before"),
    (("eligible", 0), {"field": "level", "in": "novice"}, "eligible[0].in"),
    (("eligible", 0), {"field": "level", "in": []}, "eligible[0].in"),
    (("eligible", 0), {"field": "level", "is": None}, "eligible[0].is"),
    (("eligible", 0), {"any": []}, "eligible[0].any"),
    (("eligible", 0), {"not": []}, "eligible[0].not"),
    (("eligible", 0), "member", "eligible[0]"),
    (("eligible", 1, "any", 0), {"field": "kind", "inn": ["set"]}, "eligible[1].any[0].inn"),
    (("eligible", 2, "at_least_by"), {"level": {}}, "eligible[2].at_least_by.level"),
    (("eligible", 2, "at_least_by"), {"level": {"*": "x"}}, "eligible[2].at_least_by.level.*"),
    (("eligible", 2, "at_least_by"), {"level": {}, "kind": {}}, "eligible[2].at_least_by"),
    (("rerank",), ["klass"], "rerank[0]"),
    (("limit", 0, "keep"), "worst", "limit[0].keep"),
    (("limit", 0, "number"), 0, "limit[0].number"),
    (("limit", 0, "per"), ["show"], "limit[0].per[0]"),
    (("score", 0), {"tke": "percentage"}, "score[0]"),
    (("score", 0), {"take": "percentge"}, "score[0].take"),
    (("score", 0), {"take": "percentage", "add": "1"}, "score[0]"),
    (("score", 1, "places"), {"0": "6"}, "score[1].places.0"),
    (("score", 1, "places"), {"1": "six"}, "score[1].places.1"),
    (("score", 1, "shared"), "half", "score[1].shared"),
    (("score", 2, "places_by_starters"), {"few": {"1": "1"}}, "score[2].places_by_starters.few"),
    (("score", 2, "places_by_starters"), {"1-5": {"1": "1"}, "5+": {"1": "1"}}, "score[2].places_by_starters"),
    (("score", 5, "bands"), [["60"]], "score[5].bands[0]"),
    (("score", 5, "bands"), [["60", "1"], ["60", "2"]], "score[5].bands"),
    (("score", 7), {"divide": "0"}, "score[7].divide"),
    (("score", 11, "linear"), {"kind": {"set": ["10"]}}, "score[11].linear.kind.set"),
    (("score", 12, "round"), {"decimals": 0, "rounding": "up"}, "score[12].round.rounding"),
    (("score", 13, "plus"), [], "score[13].plus"),
    (("score", 14), {"when": [], "then": []}, "score[14].when"),
    (("require", 0), {"count": "shows", "at_least": 4}, "require[0].count"),
    (("require", 0), {"count": "scores"}, "require[0]"),
    (("require", 0), {"count": "scores", "at_least": 1, "at_most": 2}, "require[0]"),
    (("require", 0), {"count": "scores", "at_least": "8"}, "require[0].at_least"),
    (("require", 1), {"count": "competitions", "share_of_competitions": "1.5"}, "require[1].share_of_competitions"),
    (("require", 2), {"any_of": []}, "require[2].any_of"),
    (("require", 2), {"any_of": [{"count": "judge", "at_least": 4}]}, "require[2].any_of[0].count"),
    (("value", "aggregate"), "average", "value.aggregate"),
    (("value", "aggregate"), None, "value.aggregate"),
    (("value", "take"), {"best": 0}, "value.take.best"),
    (("value", "take"), {"best": 2, "last": 2}, "value.take"),
    (("value", "take"), {"last": 2, "must": [{"count": "scores", "at_least": 1}]}, "value.take.must"),
    (("value", "take"), {"best": {"competitions_minus": 1, "share_of_competitions": "0.5"}}, "value.take.best"),
    (("value", "take", "must"), [{"count": "scores", "at_most": 1}], "value.take.must[0].at_most"),
    (("value", "first", "by"), [], "value.first.by"),
    (("value", "add"), [{"amount": "5"}], "value.add[0].when"),
    (("value", "add_field"), "horse", "value.add_field"),
    (("value", "drop_lowest"), {"nr": 1}, "value.drop_lowest.nr"),
    (("decimals",), 3.0, "decimals"),
    (("decimals",), 10, "decimals"),
    (("rounding",), "up", "rounding"),
    (("order",), "down", "order"),
    (("threshold",), "sixty", "threshold"),
    (("threshold",), {"kind": {"set": "60"}}, "threshold"),
    (("threshold",), {"at_least": "60", "above": "60"}, "threshold"),
    (("ties", 0), {"by": "luck"}, "ties[0].by"),
    (("ties", 1), {"by": "better-in"}, "ties[1].where"),
    (("ties", 1), {"by": "better-in", "where": []}, "ties[1].where"),
    (("ties", 2), {"by": "more"}, "ties[2].count"),
    (("tiers",), [{"name": "gold", "require": [{"count": "scores", "at_least": 1}]}], "tiers"),
    (("after", 0), {"keep": "highest", "of": "kind", "order": ["a"]}, "after[0].of"),
    (("after", 0), {"keep": "highest", "of": "level", "order": []}, "after[0].order"),
    (("after", 1), {"one_per": "ridr"}, "after[1].one_per"),
    (("after", 2), {"place": 6}, "after[2]"),
    (("after", 4), {"exclude": "P12"}, "after[4].exclude"),
    (("sources",), [1], "sources[0]"),
    (("eligible", 0), {"any": [{"field": "kind", "is": "set"}], "all": []}, "eligible[0]"),
    (("eligible", 0), {"not": {"field": "kind", "is": "set"}, "field": "kind"}, "eligible[0]"),
    (("eligible", 0), {"field": "level", "in": [None]}, "eligible[0].in"),
    (("eligible", 0), {"field": "level", "is": ["novice"]}, "eligible[0].is"),
    (("eligible", 0), {"field": "x-arena", "is": 1}, "eligible[0].is"),
    (("eligible", 0), {"field": "kind", "at_least_by": {"level": {"*": "1"}}}, "eligible[0].at_least_by"),
    (("eligible", 2, "at_least_by"), {"levl": {"*": "60"}}, "eligible[2].at_least_by.levl"),
    (("eligible", 2, "at_least_by"), "60", "eligible[2].at_least_by"),
    (("score", 3), {"from_starters": 6}, "score[3].from_starters"),
    (("score", 5, "bands"), [["sixty", "1"]], "score[5].bands[0]"),
    (("score", 11, "linear"), {"kind": {}, "level": {}}, "score[11].linear"),
    (("score", 11, "linear"), 10, "score[11].linear"),
    (("score", 12, "round"), 0, "score[12].round"),
    (("season",), {"from": "2027-01-01", "competitions": "nine"}, "season.competitions"),
    (("value", "take"), {"best": {"competitions_minus": -1}}, "value.take.best.competitions_minus"),
    (("value", "take"), {"must": [{"count": "scores", "at_least": 1}]}, "value.take"),
    (("after", 0, "not_consecutive"), [["novice", "expert"]], "after[0].not_consecutive[0]"),
    (("eligible", 0), {"field": "level", "not_in": []}, "eligible[0].not_in"),
    (
        ("eligible", 2, "at_least_by"),
        {"collectives": {"54": "60", "54.0": "61"}},
        "eligible[2].at_least_by.collectives.54.0",
    ),
    (("eligible", 2, "at_least_by"), {"collectives": {"54,5": "60"}}, "eligible[2].at_least_by.collectives.54,5"),
    (("eligible", 2, "at_least_by"), {"member": {"yes": "60"}}, "eligible[2].at_least_by.member.yes"),
    (("eligible", 2, "at_least_by"), {"level": {" ": "60"}}, "eligible[2].at_least_by.level. "),
    (("require", 2), {"any_of": [[]]}, "require[2].any_of[0]"),
    (("require", 2), {"any_of": [{"count": "judges", "at_least": 4}, []]}, "require[2].any_of[1]"),
    (("score", 1, "places"), {}, "score[1].places"),
    (("score", 2, "places_by_starters"), {}, "score[2].places_by_starters"),
    (("score", 5, "bands"), [], "score[5].bands"),
    (("score", 11, "linear"), {"kind": {}}, "score[11].linear.kind"),
    (("score", 14), {"when": [{"field": "kind", "is": "set"}]}, "score[14].then"),
    (("score", 14), {"when": [{"field": "kind", "is": "set"}], "then": []}, "score[14].then"),
    (("season",), {"from": "", "to": ""}, "season.from"),
    (("season",), {"from": "2027-W01-1"}, "season.from"),
    (("season",), {"from": "2027-01-01", "competitions": "9"}, "season.competitions"),
    (("value", "add"), [{"amount": "5", "when": []}], "value.add[0].when"),
]


@pytest.mark.parametrize(("path", "value", "expected"), FAULTS, ids=[f"{n}-{f[2]}" for n, f in enumerate(FAULTS)])
def test_a_fault_is_named_with_its_path_and_a_sentence(path, value, expected):
    found = problems_of(with_change(path, value))
    assert expected in [where for where, _ in found]
    assert all(message.endswith(".") and len(message) > 20 for _, message in found)


def test_every_fault_is_found_in_one_pass():
    document = with_change(("mode",), "rnk")
    document["unit"] = "stable"
    document["limit"][0]["number"] = -1
    document["value"]["aggregate"] = "average"
    document["require"][0]["atleast"] = 8
    assert {path for path, _ in problems_of(document)} >= {
        "mode", "unit", "limit[0].number", "value.aggregate", "require[0].atleast",
    }  # fmt: skip


@pytest.mark.parametrize("document", [None, [], "[]", "7", {"format": "class/1"}])
def test_anything_else_is_refused(document):
    assert problems_of(document)


def test_numbers_may_be_texts_or_exact_json_numbers():
    text = '{"format": "scheme/1", "id": "a", "unit": "pair", "value": {"aggregate": "mean"}, "threshold": %s}'
    assert season.read_scheme(load_json(text % "62.5")) == season.read_scheme(text % '"62.5"')


def test_tiers_need_a_name_once_and_requirements():
    document = {
        "format": "scheme/1", "id": "medals", "unit": "rider", "mode": "achieve",
        "tiers": [{"name": "gold", "require": [{"count": "scores", "at_least": 1}]}, {"name": "gold"}],
    }  # fmt: skip
    assert {path for path, _ in problems_of(document)} == {"tiers[1].require", "tiers[1].name"}


def test_a_scheme_is_said_in_sentences_that_a_volunteer_can_check():
    document = {
        "format": "scheme/1", "id": "year-end", "unit": "pair", "group_by": ["level"], "decimals": 2,
        "season": {"from": "2026-10-01", "to": "2027-09-30"},
        "eligible": [{"field": "hors_concours", "is": False}, {"field": "kind", "not_in": ["freestyle"]}],
        "limit": [{"keep": "best", "number": 1, "per": ["competition"]}],
        "require": [{"count": "scores", "at_least": 8}, {"count": "competitions", "share_of_competitions": "0.5"}],
        "value": {"aggregate": "median", "drop_lowest": {"number": 1, "when_more_than": 5, "protect": True}},
        "threshold": "60", "ties": [{"by": "best-score"}], "after": [{"places": 6}],
    }  # fmt: skip
    assert season.describe_scheme(season.read_scheme(document)) == [
        "Each pair is ranked, in one table for each level.",
        "Rides from 1 October 2026 to 30 September 2027 count, both days included.",
        "A score counts only if it was not ridden hors concours.",
        "A score counts only if it is not a freestyle.",
        "Each score counts with its percentage.",
        "Only the best score counts per competition.",
        "To qualify, a pair needs at least 8 scores.",
        "To qualify, a pair needs as many competitions as 50 % of the season's competitions, rounded up.",
        "The competitions of the season are those in the ledger.",
        "Of the scores the lowest goes where there are more than 5, but none without which a requirement would fail.",
        "The value is the median of the scores that count.",
        "It is rounded once, to 2 decimals; an exact half is rounded up.",
        "The value must be at least 60.",
        "The highest value wins.",
        "Equal values are split by the best score.",
        "What remains equal shares the place.",
        "Only the first 6 places are given.",
    ]


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ({"field": "member", "is": True}, "the membership was in force"),
        ({"field": "recognised", "is": False}, "the competition was not recognised"),
        ({"field": "hors_concours", "not_in": [True]}, "it was not ridden hors concours"),
        ({"field": "highest_of_level", "in": [True]}, "the test is the highest of its level"),
        ({"field": "percentage", "at_least": "50"}, "its percentage is at least 50"),
        ({"field": "kind", "is": "set"}, "it is a set test"),
        ({"field": "kind", "in": ["set", "freestyle"]}, "it is a set test or a freestyle"),
        ({"field": "kind", "not_in": ["freestyle"]}, "it is not a freestyle"),
        ({"field": "kind", "not_in": ["set", "freestyle"]}, "it is neither a set test nor a freestyle"),
        ({"field": "kind", "in": ["set", "quality", "final"]}, "its kind is set, quality or final"),
        ({"field": "level", "not_in": ["novice", "medium"]}, "its level is none of novice or medium"),
        ({"field": "judges", "is": "J1"}, "one of its judges is J1"),
        ({"field": "judges", "not_in": ["J1", "J2"]}, "none of its judges is J1 or J2"),
        ({"field": "horse_age", "at_least_by": {"level": {"novice": "4", "*": "5"}}}, "its horse age is at least 4"),
    ],
)
def test_conditions_are_said_as_a_person_says_them(condition, said):
    rule = scheme(eligible=[condition], value={"aggregate": "mean"})
    assert any(f"only if {said}" in sentence for sentence in season.describe_scheme(rule))


@pytest.mark.parametrize("score", [None, [{"take": "percentage"}]])
def test_the_percentage_alone_is_said_in_one_short_sentence(score):
    rule = scheme(value={"aggregate": "mean"}, **({} if score is None else {"score": score}))
    assert "Each score counts with its percentage." in season.describe_scheme(rule)


def test_a_whole_rule_that_is_no_object_and_a_rule_too_deep_are_named_by_a_path():
    assert problems_of([]) == [
        ("scheme", "Here stands an empty list, but a scheme is an object in braces. Give the whole rule.")
    ]
    deep = []
    for _ in range(80):
        deep = [deep]
    assert [path for path, _ in problems_of({"x-deep": deep})] == ["scheme"]


@pytest.mark.parametrize("tiers", [[], [{"name": "gold", "require": []}], [{"name": "gold"}]])
def test_tiers_that_ask_for_nothing_are_refused(tiers):
    document = {"format": "scheme/1", "id": "tiers", "unit": "pair", "mode": "achieve", "tiers": tiers}
    assert [path for path, _ in problems_of(document)] == ["tiers[0].require" if tiers else "tiers"]


def test_a_figure_that_is_no_decimal_is_said_as_a_person_says_it():
    found = problems_of(with_change(("value", "take"), {"best": 2.5}))
    assert found == [("value.take.best", '"best" is the inexact number 2.5. Give a whole number from 1 to 1000.')]


def test_a_line_may_depend_on_a_column_of_the_associations_own():
    line = {"linear": {"x-round": {"final": ["2", "0"], "*": ["1", "0"]}}}
    rule = season.read_scheme(with_change(("score",), [line]))
    (score,) = season.scores_from_rows([{"score_id": "s1", "percentage": "60", "x-round": "final"}])
    assert number_of(rule.score, score) == 120
