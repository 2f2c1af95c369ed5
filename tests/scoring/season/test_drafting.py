"""A scheme that is being written: every problem is named, and what has none is said all the same."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from random import Random
from typing import Any

import pytest

from scoring.season import describe_scheme, read_scheme
from scoring.season.drafting import block_sentences, read_draft
from scoring.season.scheme import is_too_deep, read_with_problems

PUBLISHED = sorted((Path(__file__).parents[3] / "fixtures" / "schemes" / "published").glob("*.json"))
LISTS = ("eligible", "limit", "require", "ties", "after")


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_a_finished_scheme_is_said_as_it_is(path: Path) -> None:
    document = json.loads(path.read_text())
    draft = read_draft(document)
    assert draft.problems == ()
    assert list(draft.sentences) == describe_scheme(read_scheme(document))


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_a_block_says_what_it_adds(path: Path) -> None:
    document = json.loads(path.read_text())
    whole = read_draft(document).sentences
    for key in LISTS:
        for index in range(len(document.get(key) or [])):
            said = block_sentences(document, key, index)
            assert said, (key, index)
            assert set(said) <= set(whole) | {"What remains equal shares the place."}


def test_blocks_with_problems_are_left_out_and_the_others_said() -> None:
    rng = Random(20_270_206)
    for path in PUBLISHED:
        document: dict[str, Any] = json.loads(path.read_text())
        key = rng.choice([name for name in LISTS if document.get(name)] or ["value"])
        spoilt = copy.deepcopy(document)
        if isinstance(spoilt.get(key), list):
            index = rng.randrange(len(spoilt[key]))
            spoilt[key][index] = {"nonsense": True}
        else:
            spoilt[key] = {"nonsense": True}
        draft = read_draft(spoilt)
        assert draft.scheme is None
        assert draft.problems == read_with_problems(spoilt)[1]
        assert draft.left_out >= 1
        assert draft.sentences
        assert len(draft.sentences) < len(read_draft(document).sentences) + 2


@pytest.mark.parametrize("document", [None, [], "x", 7, {}, {"unit": 7}, {"unit": "percentage"}, {"format": "rules/1"}])
def test_what_is_no_scheme_yet_has_problems_and_breaks_nothing(document: object) -> None:
    draft = read_draft(document)
    assert draft.problems
    assert draft.scheme is None


def test_endless_nesting_is_a_problem_and_not_a_crash() -> None:
    nested: Any = {"field": "member", "is": True}
    for _ in range(5000):
        nested = {"not": nested}
    document = {"format": "scheme/1", "id": "m", "unit": "pair", "eligible": [nested]}
    assert is_too_deep(document)
    (problem,) = read_draft(document).problems
    assert "nested" in problem.message
    assert not any(is_too_deep(json.loads(path.read_text())) for path in PUBLISHED)
