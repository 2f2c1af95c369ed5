"""Answers of the API as files. A change in one is a change of the API: look at it, then run with MARKBOOK_GOLDEN=write
(the files are then written anew).
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
import time_machine

from tests.api.conftest import World, build_world
from tests.api.test_permissions import TABLE, Row, filled

GOLDEN = Path(__file__).parent / "golden"
_NOT_JSON = {
    *("api-schema", "api-docs", "api-sheet-captions"),
    *("api-export-entries", "api-export-marks", "api-export-outcomes"),
}
READS = [row for row in TABLE if row.method == "GET" and row.name not in _NOT_JSON]
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")


def file_of(row: Row) -> Path:
    return GOLDEN / f"{re.sub(r'[^a-z0-9]+', '-', row.url.lower()).strip('-')}.json"


@pytest.fixture
def fixed_world(db: None) -> World:
    with time_machine.travel("2026-11-20T10:00:00Z", tick=False):
        return build_world()


def numbered(value: Any) -> Any:
    """Put names in the place of numbers of rows, clock times and sentences, which differ from run to run."""
    if isinstance(value, dict):
        return {key: numbered_id(key, member) for key, member in value.items()}
    if isinstance(value, list):
        return [numbered(member) for member in value]
    return _TIME.sub("<time>", value) if isinstance(value, str) else value


_WORDS = {"rule", "sentence", "working"}  # sentences may change; figures and codes do not
_NUMBERS = {"id", "class", "entry", "judge", "pair_id", "target", "in_ring", "kept", "gone"}


def numbered_id(key: str, value: Any) -> Any:
    if key in _WORDS and value:
        return "<words>"
    if key == "classes" and isinstance(value, list):
        return ["<class>" if isinstance(member, int) else numbered(member) for member in value]
    return f"<{key}>" if (key in _NUMBERS and isinstance(value, int)) or key == "hint" else numbered(value)


def no_float(text: str) -> Any:
    raise AssertionError(f"{text} is a binary float in an answer; figures are text")


@pytest.mark.parametrize("row", READS, ids=lambda row: row.id)
def test_answers_are_as_on_file_and_hold_no_floats(fixed_world: World, row: Row) -> None:
    with time_machine.travel("2026-11-20T10:00:00Z", tick=False):
        response = fixed_world.client("staff").get(f"/api/v1/{filled(row.url, fixed_world.values())}")
    assert response.status_code == 200
    shown = numbered(json.loads(response.content, parse_float=no_float))
    text = json.dumps(shown, indent=1, ensure_ascii=False) + "\n"
    if os.environ.get("MARKBOOK_GOLDEN") == "write":
        GOLDEN.mkdir(exist_ok=True)
        file_of(row).write_text(text, encoding="utf-8")
    assert text == file_of(row).read_text(encoding="utf-8")


def test_no_golden_file_is_left_over_and_none_holds_a_float() -> None:
    assert {path.name for path in GOLDEN.glob("*.json")} == {file_of(row).name for row in READS}
    for path in GOLDEN.glob("*.json"):
        json.loads(path.read_text(encoding="utf-8"), parse_float=no_float)


@pytest.mark.parametrize("key", ["total", "points", "penalty", "percentage", "collectives", "value", "mark", "lost"])
def test_figures_are_text(key: str) -> None:
    found = [value for path in GOLDEN.glob("*.json") for value in _under(json.loads(path.read_text("utf-8")), key)]
    assert found or key == "penalty"
    assert all(value is None or isinstance(value, str) for value in found)


def _under(value: Any, key: str) -> list[Any]:
    if isinstance(value, dict):
        here = [value[key]] if key in value and not isinstance(value[key], dict | list) else []
        return here + [found for member in value.values() for found in _under(member, key)]
    return [found for member in value for found in _under(member, key)] if isinstance(value, list) else []
