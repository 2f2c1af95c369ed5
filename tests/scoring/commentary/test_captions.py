"""Remarks as WebVTT captions. Syntax: W3C, "WebVTT: The Web Video Text Tracks Format", sections 4.1 to 4.2."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.commentary import read_commentary
from scoring.commentary.captions import Caption, captions_text

TEXT = st.text("ab\u00e9 <>&;-:./0\n\t\u2028", min_size=1, max_size=40).filter(str.strip)
MOMENT = st.one_of(st.none(), st.integers(0, 86_400_000))


@pytest.mark.parametrize(
    ("words", "written"),
    [
        ("Tom & Ada", "Tom &amp; Ada"),
        ("<b>bold</b>", "&lt;b&gt;bold&lt;/b&gt;"),
        ("then --> there", "then --&gt; there"),
        ("two\n\nlines\r\nhere", "two lines here"),
        ("nul\x00 byte", "nul byte"),
        ('said "round"', 'said "round"'),
    ],
)
def test_no_words_are_read_as_anything_else(words, written):
    timed = captions_text([Caption("1", words, 1000)])
    assert timed.split("\n")[-2] == written
    loose = captions_text([Caption("1", words, None)])
    assert loose == f"WEBVTT\n\nNOTE Without a moment\n1: {written}\n"
    assert timed.count("-->") == 1
    assert "-->" not in loose


def test_a_caption_is_long_enough_to_read_and_makes_room_for_the_next():
    words = " ".join(["word"] * 40)
    moments = [("Short.", 0), (words, 60_000), (words, 64_000), ("x", 64_200)]
    text = captions_text([Caption(str(number), said, at) for number, (said, at) in enumerate(moments, start=1)])
    assert [line for line in text.split("\n") if "-->" in line] == [
        "00:00:00.000 --> 00:00:02.000",
        "00:01:00.000 --> 00:01:04.000",
        "00:01:04.000 --> 00:01:05.000",
        "00:01:04.200 --> 00:01:06.200",
    ]


def test_cues_stand_in_the_order_of_their_moments_and_hours_are_written():
    text = captions_text([Caption("9", "late", 3_723_004), Caption("2", "early", 10)], title="Class 1\nnumber <2>")
    assert text.startswith("WEBVTT Class 1 number &lt;2&gt;\n\n2\n00:00:00.010 --> ")
    assert "\n\n9\n01:02:03.004 --> 01:02:05.004\nlate\n" in text


def test_a_sheet_without_remarks_is_a_file_without_cues():
    assert captions_text([]) == "WEBVTT\n"


@given(st.lists(st.builds(Caption, TEXT, TEXT, MOMENT), max_size=8))
def test_what_is_written_is_read_back(captions):
    timed = sorted((caption for caption in captions if caption.at is not None), key=lambda caption: caption.at)
    text = captions_text(captions)
    assert text.count("-->") == len(timed)
    if timed:
        cues = read_commentary(text)
        assert [cue.start * 1000 for cue in cues] == [caption.at for caption in timed]
        assert all(cue.end > cue.start for cue in cues)
