"""Bad documents are refused with the path of every fault; schemas refuse what a schema can see."""

from __future__ import annotations

import json
import random
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
import referencing
from hypothesis import given, settings
from hypothesis import strategies as st

import scoring
from scoring import checking
from scoring.bundles import bundle_digest
from scoring.results_reader import read_results
from tests.scoring.documents import REMOVED, TEST, changed, freestyle_class, points_class, small_class
from tests.scoring.random_classes import random_class

SCHEMAS = Path(scoring.__file__).parent / "schemas"
DOCUMENTS = {
    name: json.loads((SCHEMAS / f"{name}.json").read_text())
    for name in ("test-1", "rules-1", "class-1", "results-1", "bundle-1")
}
REGISTRY = referencing.Registry().with_resources(
    [(schema["$id"], referencing.Resource.from_contents(schema)) for schema in DOCUMENTS.values()]
)


def schema_accepts(document):
    name = document["format"].replace("/", "-")
    validator = jsonschema.Draft202012Validator(DOCUMENTS[name], registry=REGISTRY)
    return not list(validator.iter_errors(document))


def results_of(document):
    return scoring.compute_results(scoring.read_class(document)).as_document()


def bundle():
    document = {
        "format": "bundle/1",
        "competition": {"name": "Larkfield Spring"},
        "classes": [
            {
                "class": small_class(),
                "results": results_of(small_class()),
                "published_at": "2027-05-02T14:30:00+02:00",
                "revision": 3,
            }
        ],
    }
    return {**document, "digest": bundle_digest(document)}


GOOD = {
    "test": lambda: TEST,
    "rules": lambda: scoring.rule_sets()["freestyle-artistic"],
    "class": small_class,
    "freestyle": freestyle_class,
    "points": points_class,
    "results": lambda: results_of(small_class()),
    "bundle": bundle,
}

# name of a good document, where it is changed, to what, where the fault is found, words of its message, and whether a
# schema can see it
BAD = [
    ("test", "format", "test/2", "format", '"test/2"', True),
    ("test", "format", REMOVED, "format", "is missing", True),
    ("test", "id", REMOVED, "id", "is missing", True),
    ("test", "id", "", "id", "is empty", True),
    ("test", "id", 7, "id", "text", True),
    ("test", "titel", "x", "titel", "not known", True),
    ("test", "kind", "dance", "kind", "one of", True),
    ("test", "highest_of_level", "yes", "highest_of_level", "true or false", True),
    ("test", "minutes", "five", "minutes", "decimal", True),
    ("test", "minutes", "-1", "minutes", "at least 0", True),
    ("test", "maximum", "41", "maximum", "The maximum 41 is not the sum of the items, 40.", False),
    ("test", "items", [], "items", "no items", True),
    ("test", "items", {}, "items", "list", True),
    ("test", "items[0]", "one", "items[0]", "object", True),
    ("test", "items[0].id", REMOVED, "items[0].id", "is missing", True),
    ("test", "items[1].id", "1", "items[1].id", 'Two items have the id "1"', False),
    ("test", "items[0].coefficient", "0", "items[0].coefficient", "above 0", False),
    ("test", "items[0].coefficient", "1,5", "items[0].coefficient", "decimal", True),
    ("test", "items[0].coefficient", 1.5, "items[0].coefficient", "decimal", False),
    ("test", "items[0].coefficient", True, "items[0].coefficient", "decimal", True),
    ("test", "items[0].collective", 1, "items[0].collective", "true or false", True),
    ("test", "items[0].note", "x", "items[0].note", "not known", True),
    ("test", "mark", REMOVED, "items[0].mark", "scale", True),
    ("test", "mark.step", REMOVED, "mark.step", "is missing", True),
    ("test", "mark.step", "0.25", "mark.step", "tenths", False),
    ("test", "mark.step", "3", "mark", "whole steps", False),
    ("test", "mark.max", "0", "mark", "whole steps", False),
    ("test", "mark.best", "9", "mark.best", "not known", True),
    ("rules", "total", REMOVED, "total", "is missing", True),
    ("rules", "total.method", "median", "total.method", "one of: mean, points", True),
    ("rules", "total.method", "points", "total.method", "cannot weigh parts", True),
    ("rules", "total.decimals", "3", "total.decimals", "whole number", True),
    ("rules", "total.decimals", 10, "total.decimals", "0 to 9", True),
    ("rules", "sheet_percentage", REMOVED, "sheet_percentage", "is missing", True),
    ("rules", "sheet_percentage", {}, "sheet_percentage.decimals", "is missing", True),
    ("rules", "sheet_percentage.decimals", -1, "sheet_percentage.decimals", "whole number", True),
    ("rules", "rounding", "up", "rounding", "one of", True),
    ("rules", "parts", {}, "parts", "is empty", True),
    ("rules", "parts.technical", "0", "parts.technical", "above 0", False),
    ("rules", "parts.technical", "half", "parts.technical", "decimal", True),
    ("rules", "errors.off", "points", "errors.off", "one of", True),
    ("rules", "errors.steps", "2", "errors.steps", "list", True),
    ("rules", "errors.steps", ["1", "two"], "errors.steps[1]", 'Step 2 is "two"', True),
    ("rules", "errors.eliminated_at", 0, "errors.eliminated_at", "whole number from 1", True),
    ("rules", "parts", {"artistic": "1", "quality": "1"}, None, "", None),
    ("rules", "ties", [{"by": "luck"}], "ties[0].by", "one of", True),
    ("rules", "ties", [{"by": "item"}], "ties[0].item", "is missing", True),
    ("rules", "ties", [{"by": "median", "seat": "C"}], "ties[0].seat", "not known", True),
    ("rules", "ties", [{"by": "part", "part": "music"}], "ties[0].part", "no part", False),
    ("rules", "ties", [{"by": "median"}] * 21, "ties", "more than 20", True),
    ("rules", "tie_places", 0, "tie_places", "whole number", True),
    ("rules", "minimum_for_place", "101", "minimum_for_place", "at most 100", False),
    ("rules", "penalty", {"factor": "0", "decimals": 1}, "penalty.factor", "above 0", False),
    ("rules", "penalty", {"factor": "1"}, "penalty.decimals", "is missing", True),
    ("rules", "outliers", {"limit": "6", "min_sheets": 1}, "outliers.min_sheets", "from 2", True),
    ("rules", "outliers", {"limit": "0", "min_sheets": 7}, "outliers.limit", "above 0", False),
    ("rules", "hors_concours", "shown", "hors_concours", "one of", True),
    ("rules", "sources", ["page", 3], "sources[1]", "text", True),
    ("class", "rules", None, "rules", "is missing", True),
    ("class", "panel", [], "panel", "no seat", True),
    ("class", "panel[1].seat", "C", "panel[1].seat", "stands twice", False),
    ("class", "panel[1].parts", ["quality"], "panel[1].parts[0]", "not a part", False),
    ("class", "maximum", "44", "maximum", "The maximum 44 is not that of the test, 40.", False),
    ("class", "maximum", "0", "maximum", "above 0", False),
    ("class", "rules.ties", [{"by": "item", "item": "9"}], "rules.ties[0].item", 'no item "9"', False),
    ("class", "rules.ties", [{"by": "seat", "seat": "E"}], "rules.ties[0].seat", 'no seat "E"', False),
    ("class", "rules.ties", [{"by": "part", "part": "music"}], "rules.ties[0].part", 'no part "music"', False),
    ("class", "test.items[0].id", 1, "test.items[0].id", "text", True),
    ("class", "entries", REMOVED, "entries", "is missing", True),
    ("class", "entries[1].number", "12", "entries[1].number", 'Two entries have the number "12"', False),
    ("class", "entries[0].number", 12, "entries[0].number", "text", True),
    ("class", "entries[0].status", "done", "entries[0].status", "one of", True),
    ("class", "entries[0].errors", "1", "entries[0].errors", "whole number", True),
    ("class", "entries[0].errors", -1, "entries[0].errors", "whole number", True),
    ("class", "entries[0].sheet", {}, "entries[0].sheet", "not known", True),
    ("class", "entries[0].sheets", [], "entries[0].sheets", "object", True),
    ("class", "entries[0].sheets.B", REMOVED, "entries[0].sheets.B", "Sheet B of entry 12 is missing", False),
    ("class", "entries[0].sheets.H", {"marks": {}}, "entries[0].sheets.H", 'no seat "H"', False),
    ("class", "entries[0].sheets.C", {}, "entries[0].sheets.C", "none of them", True),
    ("class", "entries[0].sheets.C.points", "20", "entries[0].sheets.C", "marks and points", True),
    (
        "class",
        "entries[0].sheets.C",
        {"points": "41"},
        "entries[0].sheets.C.points",
        "more than the maximum of 40",
        False,
    ),
    ("class", "entries[0].sheets.C", {"points": "-1"}, "entries[0].sheets.C.points", "at least 0", True),
    ("class", "entries[1].sheets.C", {"percentage": "100.5"}, "entries[1].sheets.C.percentage", "at most 100", False),
    ("class", "entries[0].sheets.C", {"percentage": "66"}, "entries[0].errors", "only a percentage", False),
    ("class", "entries[0].sheets.B", {"percentage": "66"}, "entries[0].deductions[0]", "only a percentage", False),
    ("class", "entries[0].sheets.C.marks", "7", "entries[0].sheets.C.marks", "object", True),
    (
        "class",
        "entries[0].sheets.C.marks.4",
        REMOVED,
        "entries[0].sheets.C.marks.4",
        "for movement 4 is missing",
        False,
    ),
    ("class", "entries[0].sheets.C.marks.4", None, "entries[0].sheets.C.marks.4", "for movement 4 is missing", False),
    (
        "class",
        "entries[0].sheets.C.marks.4",
        "10.3",
        "entries[0].sheets.C.marks.4",
        "Mark 10.3 for movement 4 is not a step of 0.5. Enter 10 or less in steps of 0.5.",
        False,
    ),
    (
        "class",
        "entries[0].sheets.C.marks.G1",
        "10.5",
        "entries[0].sheets.C.marks.G1",
        "Mark 10.5 for collective mark G1 is above 10. Enter 10 or less in steps of 0.5.",
        False,
    ),
    ("class", "entries[0].sheets.C.marks.4", "seven", "entries[0].sheets.C.marks.4", "not a plain decimal", True),
    ("class", "entries[0].sheets.C.marks.4", "-1", "entries[0].sheets.C.marks.4", "is below 0", True),
    ("class", "entries[0].sheets.C.marks.4", 6.5, "entries[0].sheets.C.marks.4", "not a plain decimal", False),
    ("class", "entries[0].sheets.C.marks.4", True, "entries[0].sheets.C.marks.4", "not a plain decimal", True),
    ("class", "entries[0].sheets.C.marks.4", "\uff11", "entries[0].sheets.C.marks.4", "not a plain decimal", True),
    ("class", "entries[0].sheets.C.marks.9", "7", "entries[0].sheets.C.marks.9", "not known", False),
    ("class", "entries[3].sheets.C.marks.1", "7.3", "entries[3].sheets.C.marks.1", "not a step", False),
    ("class", "entries[0].deductions[0].off", "marks", "entries[0].deductions[0].off", "one of", True),
    ("class", "entries[0].deductions[0].off", "part-percentage", "entries[0].deductions[0].off", "no parts", False),
    ("class", "entries[0].deductions[0].off", "total-percentage", "entries[0].deductions[0].seat", "no seat", True),
    ("class", "entries[0].deductions[0].amount", REMOVED, "entries[0].deductions[0].amount", "is missing", True),
    ("class", "entries[0].deductions[0].amount", "-2", "entries[0].deductions[0].amount", "at least 0", True),
    ("class", "entries[0].deductions[0].seat", "H", "entries[0].deductions[0].seat", 'no seat "H"', False),
    ("class", "entries[0].deductions[0].part", "artistic", "entries[0].deductions[0].part", "No part", False),
    ("class", "teams.counting", 0, "teams.counting", "whole number from 1", True),
    ("class", "teams.method", "best", "teams.method", "one of", True),
    ("class", "teams.of", "penalty", "teams.of", "no penalty", False),
    ("class", "teams.drop_out", "none", "teams.drop_out", "decimal", True),
    (
        "freestyle",
        "panel",
        [{"seat": "C", "parts": ["technical"]}],
        "panel",
        'No seat marks the part "artistic"',
        False,
    ),
    ("freestyle", "test.items[2].part", "music", "test.items[2].part", 'no part "music"', False),
    ("freestyle", "rules.parts.quality", "1", "rules.parts.quality", "No item", False),
    ("freestyle", "rules.outliers", {"limit": "6", "min_sheets": 3}, "rules.outliers", "different parts", False),
    ("freestyle", "entries[0].sheets.B.marks.1", "7", "entries[0].sheets.B.marks.1", "does not mark", False),
    ("freestyle", "entries[0].sheets.E", {"points": "30"}, "entries[0].sheets.E.points", "several parts", False),
    ("freestyle", "entries[0].sheets.E", {"percentage": "70"}, "entries[0].sheets.E.percentage", "divided", False),
    (
        "freestyle",
        "entries[0].deductions",
        [{"off": "sheet-points", "amount": "1", "seat": "B"}],
        "entries[0].deductions[0].part",
        "does not mark",
        False,
    ),
    ("points", "maximum", REMOVED, "entries[0].sheets.C.points", "need a maximum", False),
    ("points", "entries[0].sheets.C", {"marks": {"1": "7"}}, "entries[0].sheets.C.marks", "need the test", False),
    ("points", "rules.total.method", "points", "entries[0].sheets.E.percentage", "adds up points", False),
    (
        "points",
        "teams",
        {"counting": 1, "method": "sum", "of": "points"},
        "entries[0].sheets.E.percentage",
        "count",
        False,
    ),
    ("results", "entries[0].total", Decimal("65.1"), "entries[0].total", "text", True),
    ("results", "entries[0].placing", "1", "entries[0].placing", "whole number", True),
    ("results", "entries[0].placing", 0, "entries[0].placing", "whole number", True),
    ("results", "entries[0].tie", "none", "entries[0].tie", "object", True),
    ("results", "entries[0].total", REMOVED, "entries[0].total", "is missing", True),
    ("results", "entries[0].sheets.C.place", REMOVED, "entries[0].sheets.C.place", "is missing", True),
    ("results", "entries[2].placing", 3, "entries[2].placing", "Only a completed", True),
    ("results", "entries[2].total", "65.000", "entries[2].total", "Only a completed", True),
    ("results", "entries[1].number", "20", "entries[3].number", "stands twice", False),
    ("results", "entries[0].working", "none", "entries[0].working", "list", True),
    ("results", "teams[0].value", 65, "teams[0].value", "text", True),
    ("results", "teams", REMOVED, "teams", "is missing", True),
    ("results", "winner", "12", "winner", "not known", True),
    ("bundle", "digest", "sha256:" + "0" * 64, "digest", "was changed", False),
    ("bundle", "competition", "Larkfield", "competition", "object", True),
    ("bundle", "classes[0].revision", "3", "classes[0].revision", "whole number", True),
    ("bundle", "classes[0].published_at", "yesterday", "classes[0].published_at", "time", False),
    ("bundle", "classes[0].class.panel[0].seat", 4, "classes[0].class.panel[0].seat", "text", True),
    ("bundle", "classes[0].results.entries[0].total", 65, "classes[0].results.entries[0].total", "text", True),
]
BAD = [case for case in BAD if case[3] is not None]


def problems_in(document):
    with pytest.raises(scoring.InvalidDocument) as caught:
        checking.check_document(document)
    return caught.value.problems


@pytest.mark.parametrize("name", sorted(GOOD))
def test_good_documents_are_accepted(name):
    document = GOOD[name]()
    assert checking.check_document(document)
    assert schema_accepts(document)


@pytest.mark.parametrize(("name", "where", "value", "path", "words", "seen_by_schema"), BAD)
def test_a_fault_is_found_at_its_path(name, where, value, path, words, seen_by_schema):
    document = changed(GOOD[name](), where, value)
    problems = problems_in(document)
    assert path in [problem.path for problem in problems]
    assert any(words in problem.message for problem in problems if problem.path == path)
    for problem in problems:
        assert problem.message[0].isupper() or problem.message[0] in "\"'0123456789"
        assert problem.message.endswith(".")
    if "format" in document and document["format"] == GOOD[name]()["format"]:
        assert schema_accepts(document) is not seen_by_schema


@pytest.mark.parametrize(
    ("read", "good"),
    [
        (scoring.read_test, GOOD["test"]),
        (scoring.read_rules, GOOD["rules"]),
        (scoring.read_class, GOOD["class"]),
        (read_results, GOOD["results"]),
    ],
)
def test_each_reader_refuses_the_others_documents(read, good):
    assert read(good())
    for other in GOOD.values():
        if other()["format"] != good()["format"]:
            with pytest.raises(scoring.InvalidDocument) as caught:
                read(other())
            assert "format" in [problem.path for problem in caught.value.problems]
    for nothing in (None, [], "text", 7):
        with pytest.raises(scoring.InvalidDocument, match="an object in braces is needed"):
            read(nothing)


def test_a_part_of_a_sheet_known_only_as_a_whole_cannot_be_touched():
    document = freestyle_class()
    document["panel"] = [{"seat": "E"}]
    document["entries"][0]["sheets"] = {"E": {"percentage": "70"}}
    scoring.read_class(document)
    for off, words in (("part-percentage", "comes off a part"), ("sheet-points", "comes off points")):
        deduction = {"off": off, "amount": "1", "part": "artistic"}
        (problem,) = problems_in(changed(document, "entries[0].deductions", [deduction]))
        assert problem.path == "entries[0].deductions[0]"
        assert words in problem.message
    (problem,) = problems_in(
        changed(document, "entries[0].deductions", [{"off": "sheet-points", "amount": "1", "part": "music"}])
    )
    assert problem.path == "entries[0].deductions[0].part"


def test_every_fault_is_found_at_once():
    document = small_class()
    document["titel"] = "x"
    document["panel"][1]["seat"] = 5
    document["rules"]["rounding"] = "up"
    document["test"]["items"][0]["coefficient"] = "two"
    document["entries"][0]["status"] = "done"
    document["entries"][1]["errors"] = "none"
    paths = {problem.path for problem in problems_in(document)}
    assert paths >= {
        "titel",
        "panel[1].seat",
        "rules.rounding",
        "test.items[0].coefficient",
        "entries[0].status",
        "entries[1].errors",
    }


def test_every_missing_mark_is_named():
    document = small_class()
    document["entries"][0]["sheets"]["C"]["marks"] = {}
    document["entries"][1]["sheets"]["B"]["marks"] = {"1": "7"}
    assert [problem.path for problem in problems_in(document)] == [
        "entries[0].sheets.C.marks.1",
        "entries[0].sheets.C.marks.4",
        "entries[0].sheets.C.marks.G1",
        "entries[1].sheets.B.marks.4",
        "entries[1].sheets.B.marks.G1",
    ]


def test_keys_of_others_are_let_be():
    document = changed(small_class(), "x-origin", {"any": ["thing"]})
    document = changed(document, "entries[0].x-note", 5)
    document = changed(document, "entries[0].sheets.C.x-ink", "blue")
    document = changed(document, "entries[0].sheets.C.marks.x-4", "seen")
    assert scoring.compute_results(scoring.read_class(document)).as_document() == results_of(small_class())
    assert schema_accepts(document)


@pytest.mark.parametrize("index", range(30))
def test_schemas_accept_random_classes_and_their_results(index):
    document = random_class(random.Random(f"schema-{index}"))
    assert schema_accepts(document)
    assert schema_accepts(results_of(document))


@pytest.mark.parametrize("name", sorted(scoring.rule_sets()))
def test_schemas_accept_the_shipped_rule_sets(name):
    assert schema_accepts(scoring.rule_sets()[name])


def test_schemas_are_schemas():
    for schema in DOCUMENTS.values():
        jsonschema.Draft202012Validator.check_schema(schema)


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.decimals()
    | st.floats()
    | st.text(max_size=5)
    | st.sampled_from(["C", "7", "6.5", "completed", "marks", "technical", 10**400, "9" * 50, "٣", "1e5", "\x00"]),
    lambda children: (
        st.lists(children, max_size=3)
        | st.dictionaries(
            st.sampled_from(["marks", "1", "C", "by", "off", "x-a", "points", "min", "id"]), children, max_size=3
        )
    ),
    max_leaves=8,
)


def places_in(document, path=""):
    """Yield the path of every value in a document."""
    members = document.items() if isinstance(document, dict) else enumerate(document)
    for key, value in members:
        here = f"{path}[{key}]" if isinstance(key, int) else f"{path}.{key}".lstrip(".")
        if "." not in str(key):
            yield here
            if isinstance(value, dict | list):
                yield from places_in(value, here)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_whatever_stands_anywhere_is_read_or_refused(data):
    """What the reader takes, a schema takes too, and a class that is read can be computed."""
    name = data.draw(st.sampled_from(sorted(GOOD)))
    document = GOOD[name]()
    where = data.draw(st.sampled_from(sorted(set(places_in(document)))))
    document = changed(document, where, data.draw(JSON))
    problems = None
    try:
        checking.check_document(document)
    except scoring.InvalidDocument as error:
        problems = error.problems
    if problems is not None:
        assert problems
        assert all(problem.message for problem in problems)
        return
    assert schema_accepts(document)
    if document["format"] == "class/1":
        results_of(document)


@settings(max_examples=100, deadline=None)
@given(JSON)
def test_any_value_in_place_of_a_document_is_refused(value):
    assert problems_in(value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not JSON"),
        ("{", "not JSON"),
        ('{"a": 1, "a": 2}', 'The key "a" stands twice'),
        ('{"a": NaN}', "NaN is not a number"),
        ('{"a": -Infinity}', "-Infinity is not a number"),
        ('{"a": ' + "9" * 5000 + "}", "too many digits"),
        ('{"a": 1e99999999999999999999}', "too many digits"),
        ("[" * 100_000, "nested too deeply"),
        ('{"a":' * 100_000, "nested too deeply"),
        ('{"a": "\\ud800"}', "half of a character"),
        (b"\xff\xfe", "not UTF-8"),
    ],
)
def test_text_that_is_no_document(text, words):
    with pytest.raises(scoring.InvalidDocument) as caught:
        scoring.load_json(text)
    assert words in caught.value.problems[0].message


def test_deep_nesting_inside_a_document_is_refused_or_passed_over():
    deep = '{"format": "class/1", "rules": ' + "[" * 700 + "]" * 700 + ', "x-deep": ' + "[" * 700 + "]" * 700 + "}"
    document = scoring.load_json(deep)
    assert "rules" in [problem.path for problem in problems_in(document)]
    nested = scoring.load_json('{"format": "bundle/1", "competition": {"x": ' + "[" * 900 + "]" * 900 + "}}")
    assert problems_in(nested)


def test_numbers_are_never_binary():
    assert scoring.load_json('{"a": 66.667}') == {"a": Decimal("66.667")}
