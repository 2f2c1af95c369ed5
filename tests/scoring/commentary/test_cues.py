"""Reading WebVTT, SRT and plain text: W3C WebVTT where it says something, common practice for SRT."""

from __future__ import annotations

from fractions import Fraction

import pytest

from scoring.commentary import Cue, read_commentary
from scoring.commentary.cues import LONGEST, MOST_CUES
from scoring.documents import InvalidDocument

VTT = "WEBVTT\n\n00:01.000 --> 00:02.500\nStraight.\n\n01:00:03.250 --> 01:00:04.000\nSquare halt.\n"


def texts(data):
    return [cue.text for cue in read_commentary(data)]


def problems(data):
    with pytest.raises(InvalidDocument) as caught:
        read_commentary(data)
    return [(problem.path, problem.message) for problem in caught.value.problems]


def test_webvtt():
    assert read_commentary(VTT) == (
        Cue(0, Fraction(1), Fraction(5, 2), "Straight."),
        Cue(1, Fraction(14413, 4), Fraction(3604), "Square halt."),
    )


@pytest.mark.parametrize(
    "data",
    [
        VTT.replace("\n", "\r\n"),
        VTT.replace("\n", "\r"),
        "\ufeff" + VTT,
        ("\ufeff" + VTT).encode(),
        VTT.encode("utf-16"),
        VTT.replace("WEBVTT", "WEBVTT - a ride\nKind: captions"),
        VTT.replace(
            "WEBVTT\n", "WEBVTT\n\nSTYLE\n::cue { color: red }\n\nREGION\nid:r\n\nNOTE --\n\nNOTE\ntwo\nlines\n"
        ),
        VTT.replace("00:01.000 ", "an id\n00:01.000 ").replace("02.500", "02.500 align:start line:0%"),
        VTT.replace("Straight.", "<v Judge>Straight.</v>").replace("Square halt", "<i>Square</i>\n<00:04.000>halt"),
        VTT.replace("WEBVTT\n\n", "WEBVTT\n"),
    ],
)
def test_what_webvtt_allows_changes_nothing(data):
    assert read_commentary(data) == read_commentary(VTT)


def test_srt():
    data = "1\n00:00:01,000 --> 00:00:02,500\n{\\an8}Straight.\n\n2\n01:00:03,25 --> 01:00:04,000\nSquare halt.\n"
    assert read_commentary(data) == read_commentary(VTT)


def test_srt_without_empty_lines_between_cues():
    assert texts("1\n00:00:01,0 --> 00:00:02,0\nOne.\n2\n00:00:03,0 --> 00:00:04,0\nTwo.") == ["One.", "Two."]


def test_words_below_an_empty_line_belong_to_the_cue_before():
    assert texts("1\n00:00:01,0 --> 00:00:02,0\nOne,\n\nand more.\n\n3\n") == ["One, and more."]


def test_entities_and_lone_signs():
    assert texts(VTT.replace("Straight.", "Left &amp; right &lt; 10 m")) == ["Left & right < 10 m", "Square halt."]
    assert texts("Trot < canter\nWalk") == ["Trot < canter", "Walk"]


def test_cues_may_overlap_and_may_be_empty():
    found = read_commentary("WEBVTT\n\n00:05.000 --> 00:09.000\nOne\n\n00:04.000 --> 00:20.000\n<i></i>\n")
    assert [(cue.start, cue.text) for cue in found] == [(5, "One"), (4, "")]


def test_plain_lines_with_and_without_times():
    found = read_commentary("[1:05] Square halt.\n\n(1:02:03.5) - Circle.\n7:30 Walk.\nHalt at C.\n7:75 is no time\n")
    assert [(cue.index, cue.start, cue.text) for cue in found] == [
        (0, Fraction(65), "Square halt."),
        (1, Fraction(7447, 2), "Circle."),
        (2, Fraction(450), "Walk."),
        (3, None, "Halt at C."),
        (4, None, "7:75 is no time"),
    ]


def test_a_text_of_one_line_has_a_cue_for_each_sentence():
    assert texts("Square halt. Circle 6.5, no. 2! Late at C. Good") == [
        "Square halt.", "Circle 6.5, no. 2!", "Late at C.", "Good",
    ]  # fmt: skip


def test_every_problem_is_reported_with_its_line():
    data = (
        "WEBVTT\n\nearly words\n\n00:61.000 --> 00:02.000\na\n\n00:05.000 --> 00:04.000\nb\n\n"
        "x --> y\nc\n\n00:06.000 --> 00:07.000\nd\n\n61:99:00.0 --> 99:00:00.0\ne\n"
    )
    found = problems(data)
    assert [path for path, _ in found] == [
        "cues[0].start",
        "cues[0].start",
        "cues[1].end",
        "cues[2].start",
        "cues[4].start",
    ]
    assert [message.split(" ", 2)[1].rstrip(",") for _, message in found] == ["3", "5", "8", "11", "17"]
    assert found[2][1] == ('Line 8, "00:05.000 --> 00:04.000", ends before it starts. Correct one of the two times.')


def test_words_that_would_be_lost_above_a_time_are_a_problem():
    ((path, message),) = problems("WEBVTT\n\nSome words\nand more\n00:01.000 --> 00:02.000\nText\n")
    assert path == "cues[0]"
    assert message.startswith("Line 3 stands before a cue")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no words"),
        (" \n\t\n", "no words"),
        ("WEBVTT", "no words"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"\xff", "not UTF-8"),
        (b"caf\xe9", "byte 4"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not UTF-8"),
        (b"GIF\x00\x01", "Line 1 holds a control character"),
        ("a\n\x00", "Line 2"),
        ("half \ud800", "lone surrogate"),
        ("x" * (LONGEST + 1), "4000001 characters"),
        ("x\n" * (MOST_CUES + 1), "20001 cues"),
    ],
)
def test_what_is_no_commentary_says_so(data, words):
    ((_, message),) = problems(data)
    assert words in message
    assert message.endswith(".")
