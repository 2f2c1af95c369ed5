"""The examples in the page of formats are good documents."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import scoring
from scoring import checking

PAGE = (Path(scoring.__file__).parent / "schemas" / "formats-results.md").read_text(encoding="utf-8")
EXAMPLES = {found["format"]: found for found in map(json.loads, re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL))}


def test_the_page_shows_every_document():
    assert set(EXAMPLES) == {"test/1", "rules/1", "class/1", "results/1"}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_an_example_is_good(name):
    assert name in checking.check_document(EXAMPLES[name])


def test_the_class_of_the_page_is_computed():
    found = scoring.compute_results(scoring.read_class(EXAMPLES["class/1"])).as_document()
    assert [row["total"] for row in found["entries"]] == ["58.750", None]  # (6.5 + 14 + 7 - 2 - 2) of 40
