"""How many sentences of the invented commentaries are laid right, and whether the confidence is honest."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import pytest

from scoring import commentary
from tests.scoring.commentary.labelled import Outcome, commentaries, outcomes


@cache
def half(*, held_out: bool, times: bool = True) -> tuple[Outcome, ...]:
    chosen = (labelled for labelled in commentaries() if labelled.held_out is held_out)
    return tuple(row for labelled in chosen for row in outcomes(labelled, times=times))


def right(rows):
    return Fraction(sum(row.right for row in rows), len(rows))


def test_the_corpus_is_what_it_says():
    held_out = [labelled for labelled in commentaries() if labelled.held_out]
    assert len(commentaries()) >= 16
    assert len(commentaries()) <= 2 * len(held_out)
    for labelled in commentaries():
        assert 20 <= len(labelled.sentences) <= 60
        ids = {item.id for item in labelled.test.items if not item.collective} | {None}
        assert {item for _, item, _ in labelled.sentences} <= ids
        assert {index for index, _, _ in labelled.sentences} == set(
            range(len(commentary.read_commentary(labelled.text)))
        )


@pytest.mark.parametrize("held_out", [False, True])
def test_nine_sentences_of_ten_are_right_where_there_are_times(held_out):
    assert right(half(held_out=held_out)) >= Fraction(90, 100)


@pytest.mark.parametrize("held_out", [False, True])
def test_five_sentences_of_six_are_right_from_the_words_and_the_order_alone(held_out):
    assert right(half(held_out=held_out, times=False)) >= Fraction(5, 6)


def test_a_confident_answer_is_right_and_a_doubtful_one_less_often():
    rows = half(held_out=True)
    sure = [row for row in rows if Fraction(row.confidence) >= Fraction(9, 10)]
    doubtful = [row for row in rows if Fraction(row.confidence) < Fraction(6, 10)]
    assert 2 * len(sure) > len(rows)
    assert right(sure) >= Fraction(97, 100)
    assert right(doubtful) < Fraction(80, 100)


def test_the_confidence_is_honest_on_average():
    rows = half(held_out=True)
    claimed = sum(Fraction(row.confidence) for row in rows) / len(rows)
    assert abs(claimed - right(rows)) <= Fraction(10, 100)


@pytest.mark.parametrize("labelled", commentaries(), ids=lambda labelled: labelled.name)
def test_one_object_for_each_cue_unless_it_is_split(labelled):
    cues = commentary.read_commentary(labelled.text)
    found = commentary.align(labelled.test, cues)
    assert [cue.index for cue in cues] == sorted({assignment.index for assignment in found})
    for cue in cues:
        parts = [assignment for assignment in found if assignment.index == cue.index]
        numbers = [part.part for part in parts]
        assert numbers == ([None] if len(parts) == 1 else list(range(len(parts))))
        assert " ".join(part.text for part in parts) == cue.text
        assert parts[0].start == cue.start
