"""The invented commentaries in ``corpus``, with the movement of each sentence as their writer labelled it.

Of those that are held out only the shares of right sentences were looked at while the words, the odds and the costs
were set. Those named ``fresh`` were written after all of that, and so were those from 40 on, over tests (``marram``) of
which one names no families and gaits. One and the same writer made the commentaries and the
vocabulary, so a stranger's talk may fare worse. The times are simulated: lengths of movements at random, remarks some
seconds after a movement or, in half of the commentaries, anywhere from its middle on; one who still speaks of the last
movement is late.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import scoring
from scoring import commentary

CORPUS = Path(__file__).parent / "corpus"
TESTS = (CORPUS / "tests", Path(scoring.__file__).parents[1] / "fixtures" / "tests")


@dataclass(frozen=True)
class Labelled:
    name: str
    test: scoring.Test
    text: bytes
    held_out: bool
    sentences: tuple[tuple[int, str | None, str], ...]


@dataclass(frozen=True)
class Outcome:
    said: str
    label: str | None
    item: str | None
    confidence: str

    @property
    def right(self) -> bool:
        return self.label == self.item


@cache
def read_test(name: str) -> scoring.Test:
    path = next(folder / f"{name}.json" for folder in TESTS if (folder / f"{name}.json").exists())
    return scoring.read_test(scoring.load_json(path.read_bytes()))


@cache
def commentaries() -> tuple[Labelled, ...]:
    return tuple(_read(path) for path in sorted(CORPUS.glob("*.json")))


def _read(path: Path) -> Labelled:
    document = json.loads(path.read_text(encoding="utf-8"))
    return Labelled(
        name=path.stem,
        test=read_test(document["test"]),
        text=(CORPUS / document["text"]).read_bytes(),
        held_out=document["held_out"],
        sentences=tuple((row["cue"], row["item"], row["text"]) for row in document["sentences"]),
    )


def outcomes(labelled: Labelled, *, times: bool = True) -> list[Outcome]:
    cues = commentary.read_commentary(labelled.text)
    if not times:
        cues = tuple(replace(cue, start=None, end=None) for cue in cues)
    found = commentary.align(labelled.test, cues)
    rows = []
    for index, label, said in labelled.sentences:
        parts = [assignment for assignment in found if assignment.index == index]
        part = next((part for part in parts if said in part.text), parts[0])
        rows.append(Outcome(said, label, part.item, part.confidence))
    return rows
