"""The sentences of a commentary one by one, with what they are about and when they were said."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring import InvalidDocument, commentary
from tests.scoring.commentary.labelled import commentaries, read_test

NOVICE = read_test("larkfield-novice-1")


def laid(text: str) -> list[commentary.LaidSentence]:
    return list(commentary.lay_sentences(NOVICE, commentary.read_commentary(text)))


def test_each_sentence_of_a_cue_is_one_with_its_share_of_the_time():
    found = laid("WEBVTT\n\n00:10.000 --> 00:20.000\nStraight. Halt square and.\n")
    assert [(row.text, row.start, row.end) for row in found] == [
        ("Straight.", Fraction(10), Fraction("13.6")),  # 9 of 25 letters
        ("Halt square and.", Fraction("13.6"), Fraction(20)),
    ]


def test_a_sentence_that_runs_through_cues_is_one_with_the_time_of_both():
    (found, _) = laid(
        "WEBVTT\n\n00:10.000 --> 00:12.000\nThe halt was\n\n00:12.000 --> 00:14.000\nnot square.\n"
        "\n00:40.000 --> 00:42.000\nCircle too large.\n"
    )
    assert (found.text, found.start, found.end) == ("The halt was not square.", 10, 14)


@pytest.mark.parametrize("labelled", commentaries(), ids=lambda labelled: labelled.name)
def test_nothing_said_is_lost_and_nothing_is_said_twice(labelled):
    cues = commentary.read_commentary(labelled.text)
    sentences = commentary.lay_sentences(labelled.test, cues)
    assert " ".join(row.text for row in sentences).split() == " ".join(cue.text for cue in cues).split()
    known = {item.id for item in labelled.test.items if not item.collective} | {None}
    assert {row.item for row in sentences} <= known


def test_the_proposal_holds_the_alignment_and_the_sentences():
    cues = commentary.read_commentary("Straight entry.\nOverall a pleasing pair.")
    found = commentary.proposal(NOVICE, cues)
    assert found["alignment"]["cues"] == [assignment.as_dict() for assignment in commentary.align(NOVICE, cues)]
    assert found["sentences"] == [sentence.as_dict() for sentence in commentary.lay_sentences(NOVICE, cues)]


def test_more_work_than_allowed_is_refused():
    cues = commentary.read_commentary("One. Two. Three.")
    with pytest.raises(InvalidDocument, match="too many"):
        commentary.proposal(NOVICE, cues, most_work=40)


WORDS = st.sampled_from(
    [
        "circle",
        "halt",
        "left",
        "trot",
        "then",
        "but",
        "the",
        "Overall",
        "good",
        "B",
        "canter.",
        "walk,",
        "and",
        "x" * 50,
    ]
)


@given(st.lists(st.lists(WORDS, min_size=1, max_size=60).map(" ".join), min_size=1, max_size=6), st.booleans())
@settings(max_examples=60, deadline=None)
def test_whatever_is_said_comes_back_in_its_order(said, timed):
    cues = tuple(
        commentary.Cue(index, Fraction(index) if timed else None, Fraction(index + 1) if timed else None, text)
        for index, text in enumerate(said)
    )
    found = commentary.lay_sentences(NOVICE, cues)
    assert " ".join(row.text for row in found).split() == " ".join(said).split()
    if timed:
        assert [row.start for row in found] == sorted(row.start for row in found)
        assert all(row.start <= row.end for row in found)
