"""The JSON Schemas against the readers: what one takes the other takes, what the writers write is valid."""

import json
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker

from scoring import season
from scoring.documents import InvalidDocument
from tests.scoring.season.season_builders import ledger, rides, scheme
from tests.scoring.season.test_outlook import AVERAGE
from tests.scoring.season.test_placing import MEDALS
from tests.scoring.season.test_scheme_reading import FAULTS, GOOD, with_change

ROOT = Path(__file__).parents[3]
SCHEMES = sorted((ROOT / "fixtures" / "schemes").rglob("*.json"))
ONLY_THE_READER_SEES = {
    # what a schema cannot say: days that do not exist or are out of order, figures in relation to other keys
    "season.from", "season.to", "group_by", "eligible[0].at_least", "eligible[0].before", "score[2].places_by_starters",
    "score[5].bands", "score[7].divide", "require[1].share_of_competitions", "value.take.must[0].at_most",
    "value.take.must", "threshold", "ties[2].count", "after[0].of", "after[1].one_per", "eligible[0].is", "decimals",
    "eligible[0].at_least_by", "after[0].not_consecutive[0]",
    "eligible[2].at_least_by.collectives.54.0", "eligible[2].at_least_by.collectives.54,5",
    "eligible[2].at_least_by.member.yes", "eligible[2].at_least_by.level. ",
}  # fmt: skip


@cache
def validator(name):
    document = json.loads((ROOT / "scoring" / "schemas" / f"{name}.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(document)
    return Draft202012Validator(document, format_checker=FormatChecker())


@pytest.mark.parametrize("path", SCHEMES, ids=lambda path: path.stem)
def test_every_scheme_of_the_fixtures_is_valid_and_reads(path):
    document = json.loads(path.read_text(encoding="utf-8"))
    validator("scheme-1").validate(document)
    season.read_scheme(path.read_bytes())


def test_the_whole_grammar_is_valid():
    validator("scheme-1").validate(GOOD)
    assert len(SCHEMES) > 60


@pytest.mark.parametrize(("path", "value", "where"), FAULTS, ids=[f"{n}-{f[2]}" for n, f in enumerate(FAULTS)])
def test_what_the_reader_refuses_the_schema_refuses_too_as_far_as_it_can(path, value, where):
    document = with_change(path, value)
    with pytest.raises(InvalidDocument):
        season.read_scheme(document)
    if where not in ONLY_THE_READER_SEES:
        assert not validator("scheme-1").is_valid(document)


def paths_in(part, path=()):
    if path:
        yield path
    keys = part if isinstance(part, dict) else range(len(part)) if isinstance(part, list) else ()
    for key in keys:
        yield from paths_in(part[key], (*path, key))


SCALARS = st.sampled_from(
    [None, True, False, 0, 1, -1, 7, 1000, "", "1", "60", "-2", "x", "level", "2027-01-01", "scores"]
)
ANYTHING = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=2)
        | st.dictionaries(
            st.sampled_from(["field", "is", "count", "at_least", "best", "level", "*", "x-a", "b"]), inner, max_size=3
        )
    ),
    max_leaves=5,
)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(sorted(paths_in(GOOD), key=str)), ANYTHING)
def test_what_the_schema_refuses_the_reader_refuses_too(path, value):
    document = with_change(path, value)
    if validator("scheme-1").is_valid(document):
        return
    with pytest.raises(InvalidDocument):
        season.read_scheme(document)


def test_standings_are_valid_in_every_mode():
    check = validator("standings-1")
    scores = ledger(*rides(60, 61, level="novice", highest_of_level="true"), *rides(70, unit="P2", level=""))
    either = {"any_of": [{"count": "judges", "at_least": 1}, [{"count": "scores", "at_most": 1}]]}
    for rule in (
        scheme(group_by=["level"], require=[{"count": "scores", "at_least": 2}, either], threshold="60"),
        scheme(mode="qualify"),
        scheme(**MEDALS),
    ):
        document = season.compute_standings(rule, scores).as_document()
        assert document["groups"]
        check.validate(document)


def test_outlooks_are_valid():
    check = validator("outlook-1")
    scores = ledger(*rides(60, 62, member="true", judges="J1", highest_of_level="false"))
    either = {"any_of": [{"count": "judges", "at_least": 4}, {"count": "scores", "at_least": 9}]}
    for rule in (scheme(**AVERAGE), scheme(require=[either]), scheme(**MEDALS), scheme()):
        for outlook in season.compute_outlook(rule, scores, unit="P1"):
            check.validate(outlook.as_document())


@pytest.mark.parametrize(
    ("row", "good"),
    [
        ({"score_id": "s1"}, True),
        ({"score_id": "s1", "percentage": 66.5, "judges": ["J1"], "member": True, "x-note": {}}, True),
        ({"score_id": "s1", "percentage": "66.5", "judges": "J1;J2", "member": "true", "date": "", "team": None}, True),
        ({"score_id": "", "percentage": 66.5}, False),
        ({"percentage": 66.5}, False),
        ({"score_id": "s1", "percentage": 101}, False),
        ({"score_id": "s1", "percentage": "65,5"}, False),
        ({"score_id": "s1", "member": "yes"}, False),
        ({"score_id": "s1", "status": "running"}, False),
        ({"score_id": "s1", "date": "2027-02-30"}, False),
        ({"score_id": "s1", "placing": 0}, False),
        ({"score_id": "s1", "mark": 6}, False),
    ],
)
def test_a_row_of_the_ledger(row, good):
    assert validator("scores-1").is_valid(row) is good
    try:
        season.read_scores(json.dumps(row))
    except InvalidDocument:
        assert not good
    else:
        assert good
