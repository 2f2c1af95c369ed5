"""``alignment/1``: the schema, the reader and the page of formats say the same."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

import scoring
from scoring import commentary
from scoring.checking import check_document
from scoring.commentary.alignment import as_document
from scoring.documents import InvalidDocument
from tests.scoring.commentary.labelled import commentaries

SCHEMAS = Path(scoring.__file__).parent / "schemas"
VALIDATOR = Draft202012Validator(json.loads((SCHEMAS / "alignment-1.json").read_text(encoding="utf-8")))
CUE = {"index": 0, "start": "61.5", "item": "9", "confidence": "0.91"}


def of(*cues):
    return {"format": "alignment/1", "cues": list(cues)}


def test_the_schema_is_one():
    Draft202012Validator.check_schema(VALIDATOR.schema)


@pytest.mark.parametrize("labelled", commentaries(), ids=lambda labelled: labelled.name)
def test_what_is_written_is_valid(labelled):
    document = as_document(commentary.align(labelled.test, commentary.read_commentary(labelled.text)))
    VALIDATOR.validate(document)
    assert check_document(document).startswith("Commentary laid on a test, alignment/1,")


def test_the_example_of_the_page_is_good():
    page = (SCHEMAS / "formats-alignment.md").read_text(encoding="utf-8")
    (example,) = map(json.loads, re.findall(r"```json\n(.*?)```", page, re.DOTALL))
    VALIDATOR.validate(example)
    assert check_document(example) == "Commentary laid on a test, alignment/1, 4 entries, 3 on movements."


@pytest.mark.parametrize("document", [of(), of(CUE), of(CUE | {"item": None, "start": None}), of(CUE | {"x-note": 1})])
def test_good_documents(document):
    VALIDATOR.validate(document)
    assert check_document(document)


@pytest.mark.parametrize(
    ("document", "path"),
    [
        ({"format": "alignment/1"}, "cues"),
        (of(CUE) | {"extra": 1}, "extra"),
        (of(CUE | {"movement": "9"}), "cues[0].movement"),
        (of(CUE | {"index": -1}), "cues[0].index"),
        (of(CUE | {"start": "1:05"}), "cues[0].start"),
        (of(CUE | {"start": -1}), "cues[0].start"),
        (of(CUE | {"item": 9}), "cues[0].item"),
        (of(CUE | {"confidence": "1.00"}), "cues[0].confidence"),
        (of(CUE | {"confidence": "0.9"}), "cues[0].confidence"),
        *((of({key: value for key, value in CUE.items() if key != left}), f"cues[0].{left}") for left in CUE),
    ],
)
def test_bad_documents(document, path):
    assert not VALIDATOR.is_valid(document)
    with pytest.raises(InvalidDocument) as caught:
        check_document(document)
    assert [problem.path for problem in caught.value.problems] == [path]


@pytest.mark.parametrize(
    ("document", "path"),
    [
        (of(CUE | {"index": 1}, CUE), "cues[1].index"),
        (of(CUE, CUE), "cues[1].part"),
        (of(CUE | {"part": 0}, CUE | {"part": 2}), "cues[1].part"),
        (of(CUE | {"part": 1}), "cues[0].part"),
    ],
)
def test_what_only_the_reader_sees(document, path):
    VALIDATOR.validate(document)
    with pytest.raises(InvalidDocument) as caught:
        check_document(document)
    assert [problem.path for problem in caught.value.problems] == [path]
