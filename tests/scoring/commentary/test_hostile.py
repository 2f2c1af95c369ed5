"""Whatever stands in the text: cues or sentences about what is wrong, never a traceback, and never for long."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scoring
from scoring import commentary
from scoring.commentary import Cue
from scoring.documents import InvalidDocument
from tests.scoring.commentary.labelled import commentaries, read_test

NOVICE = read_test("larkfield-novice-1")
LINES = st.sampled_from(
    ["WEBVTT", "", "1", "NOTE x", "STYLE", "00:01.000 --> 00:02.000", "00:00:01,5 --> 00:00:02,5", "-->", "0 --> 1",
     "99:99 --> 1", "[1:05] Circle.",
     "Halt at X.", "<v A", "&amp;&#0;", "{\\an8}", "\x1b", "He; and then the circle, but the halt."]
)  # fmt: skip


@given(st.one_of(st.text(), st.binary(), st.lists(LINES, max_size=20).map("\n".join)))
@settings(max_examples=300, deadline=None)
def test_any_text_is_read_or_refused(data):
    try:
        cues = commentary.read_commentary(data)
    except InvalidDocument:
        return
    found = commentary.align(NOVICE, cues)
    assert [cue.index for cue in cues] == sorted({assignment.index for assignment in found})
    assert all("0.00" <= assignment.confidence <= "0.99" for assignment in found)
    for assignment in found:
        assert assignment.as_dict()["index"] == assignment.index


TIMES = st.none() | st.fractions(min_value=0, max_value=10**6, max_denominator=1000)


@given(st.lists(st.tuples(TIMES, TIMES, st.text(max_size=40)), max_size=30))
@settings(max_examples=100, deadline=None)
def test_any_times_are_taken(rows):
    cues = [Cue(index, start, end, text) for index, (start, end, text) in enumerate(rows)]
    assert len(commentary.align(NOVICE, cues)) >= len(cues)


@pytest.mark.parametrize(
    "text",
    ["<" * 200_000, "a " * 200_000, "halt, and then the " * 20_000, "." * 200_000, "A-" * 100_000, "1:" * 100_000,
     "reins up " * 30_000, "through to " * 30_000, "a" * 500_000, "{\\" * 100_000,
     "&#" * 100_000, "change the " * 20_000],
)  # fmt: skip
def test_long_lines_are_laid_on_the_sheet_or_refused_in_a_sentence(text):
    """What they cost stands in ``tests/benchmarks/bench_alignment.py``."""
    for data in (text, "WEBVTT\n\n00:00.000 --> 00:01.000\n" + text):
        try:
            cues, problems = commentary.read_commentary(data), ()
        except InvalidDocument as refusal:
            cues, problems = (), refusal.problems
        assert len(commentary.align(NOVICE, cues)) >= len(cues)
        assert bool(cues) != bool(problems)
        assert all(problem.message.endswith(".") for problem in problems)


def test_more_than_ten_thousand_cues():
    rows = "".join(
        f"{number // 3600:02d}:{number // 60 % 60:02d}:{number % 60:02d}.000 --> "
        f"{number // 3600:02d}:{number // 60 % 60:02d}:{number % 60:02d}.900\nCircle at B.\n\n"
        for number in range(11_000)
    )
    assert len(commentary.align(NOVICE, commentary.read_commentary("WEBVTT\n\n" + rows))) == 11_000


def test_too_much_work_is_refused():
    items = [{"id": str(number), "text": "Halt."} for number in range(2_000)]
    test = scoring.read_test(
        {"format": "test/1", "id": "t", "mark": {"min": "0", "max": "10", "step": "1"}, "items": items}
    )
    with pytest.raises(InvalidDocument, match="2000 movements are too many"):
        commentary.align(test, commentary.read_commentary("Halt.\n" * 600))


def test_a_test_of_collective_marks_alone_has_no_movement():
    item = {"id": "G1", "collective": True, "text": "Paces"}
    test = scoring.read_test(
        {"format": "test/1", "id": "t", "mark": {"min": "0", "max": "10", "step": "1"}, "items": [item]}
    )
    found = commentary.align(test, commentary.read_commentary("[0:10] Halt.\n[0:20] Circle."))
    assert [assignment.item for assignment in found] == [None, None]


def test_no_cues_give_no_assignments():
    assert commentary.align(NOVICE, []) == ()


def test_ten_minutes_of_talk_are_laid_on_the_sheet_whole():
    labelled = next(labelled for labelled in commentaries() if labelled.name.startswith("04"))
    spoken = commentary.read_commentary(labelled.text)
    cues = [
        Cue(len(spoken) * turn + cue.index, cue.start / 4 + 150 * turn, cue.end / 4 + 150 * turn, cue.text)
        for turn in range(4)
        for cue in spoken
    ]
    assert Fraction(9 * 60) < cues[-1].end < Fraction(11 * 60)
    found = commentary.align(labelled.test, cues)
    assert {assignment.index for assignment in found} == {cue.index for cue in cues}
