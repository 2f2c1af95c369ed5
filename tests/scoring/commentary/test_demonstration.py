"""The commentary that the demonstration offers to be tried, labelled by its writer."""

from __future__ import annotations

from pathlib import Path

import scoring
from scoring import commentary
from tests.scoring.commentary.labelled import read_test

SPOKEN = Path(scoring.__file__).parents[1] / "fixtures" / "commentary" / "class-6-number-32.vtt"
ABOUT = ["1", "1", *map(str, range(2, 24))]


def test_every_sentence_of_the_demonstration_is_laid_right():
    cues = commentary.read_commentary(SPOKEN.read_bytes())
    found = commentary.lay_sentences(read_test("larkfield-elementary-2"), cues)
    assert [sentence.item for sentence in found] == [None, *ABOUT, None, None, None]
    assert {sentence.item for sentence in found if sentence.text.startswith(("The rein back", "but the medium"))} == {
        "6",
        "7",
    }
