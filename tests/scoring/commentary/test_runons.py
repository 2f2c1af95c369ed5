"""Dictation without stops and capitals: how many words come to stand on the right movement."""

from __future__ import annotations

import json
from fractions import Fraction

import pytest

from scoring import commentary
from scoring.commentary.runons import split_run_on
from tests.scoring.commentary.labelled import CORPUS, read_test

RUN_ONS = sorted((CORPUS / "runons").glob("*.json"))


def words_right(path) -> Fraction:
    document = json.loads(path.read_text(encoding="utf-8"))
    labelled = [(word, piece["item"]) for piece in document["pieces"] for word in piece["text"].split()]
    cues = commentary.read_commentary((path.parent / document["text"]).read_bytes())
    laid = [
        (word, sentence.item)
        for sentence in commentary.lay_sentences(read_test(document["test"]), cues)
        for word in sentence.text.split()
    ]
    assert [word for word, _ in laid] == [word for word, _ in labelled]
    return Fraction(sum(found == label for found, label in zip(laid, labelled, strict=True)), len(labelled))


@pytest.mark.parametrize("path", RUN_ONS, ids=lambda path: path.stem)
def test_five_words_of_six_are_right_from_one_breath_and_nine_of_ten_from_captions(path):
    least = Fraction(9, 10) if path.with_suffix(".vtt").exists() else Fraction(5, 6)
    assert words_right(path) >= least


def test_captions_that_break_a_sentence_are_put_together_again():
    path = CORPUS / "runons" / "51-captions.vtt"
    cues = commentary.read_commentary(path.read_bytes())
    found = commentary.lay_sentences(read_test("marram-preliminary-4"), cues)
    assert found[0].text == "straight up the middle nice and forward and the turn is well balanced"
    assert (found[0].start, found[0].end) == (cues[0].start, cues[1].end)
    assert len(found) < len(cues)


@pytest.mark.parametrize(
    "said", ["", "halt " * 30, "a " * 60, "circle" * 50, "word " * 24, "trot halt circle walk " * 40, "canter\t" * 40]
)
def test_nothing_is_lost_by_cutting(said):
    pieces = split_run_on(said)
    assert " ".join(" ".join(pieces).split()) == " ".join(said.split())
    assert all(pieces) or pieces == [said]


def test_a_sentence_of_usual_length_is_left_whole():
    said = "the circle was large and the halt was not square and then the trot was hurried"
    assert split_run_on(said) == [said]
