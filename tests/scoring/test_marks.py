from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring import InvalidMark, MarkScale, mark_text, parse_typed_mark

HALVES = MarkScale(0, 100, 5)
TENTHS = MarkScale(0, 100, 1)
WHOLES = MarkScale(0, 100, 10)
TO_TWENTY = MarkScale(0, 200, 5)
FROM_ONE = MarkScale(10, 100, 5)


@pytest.mark.parametrize(
    ("text", "scale", "tenths"),
    [
        ("7", HALVES, 70),  # trade: 7 is 7.0
        ("65", HALVES, 65),  # trade: 65 can only mean 6.5
        ("10", HALVES, 100),  # trade: 10 is 10
        ("0", HALVES, 0),
        ("00", HALVES, 0),
        ("05", HALVES, 5),
        ("100", HALVES, 100),
        ("6.5", HALVES, 65),
        ("6,5", HALVES, 65),
        ("6.0", HALVES, 60),
        ("6.50", HALVES, 65),
        (" 7 ", HALVES, 70),
        ("73", TENTHS, 73),
        ("11", TENTHS, 11),
        ("10", TENTHS, 100),
        ("7.3", TENTHS, 73),
        ("15", TO_TWENTY, 150),
        ("155", TO_TWENTY, 155),
        ("1", FROM_ONE, 10),
        ("10", FROM_ONE, 100),
        ("8", WHOLES, 80),
    ],
)
def test_typed_marks(text, scale, tenths):
    assert parse_typed_mark(text, scale) == tenths


@pytest.mark.parametrize(
    ("text", "scale", "sentence"),
    [
        ("105", HALVES, '"105" is not a mark. Enter 10 or less in steps of 0.5.'),  # trade: 105 is nothing
        ("11", HALVES, '"11" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("07", HALVES, '"07" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("65", WHOLES, '"65" is not a mark. Enter 10 or less in steps of 1.'),
        ("", HALVES, "No mark is entered. Enter 10 or less in steps of 0.5."),
        ("  ", HALVES, "No mark is entered. Enter 10 or less in steps of 0.5."),
        ("10.3", HALVES, "Mark 10.3 is not a step of 0.5. Enter 10 or less in steps of 0.5."),
        ("10.5", HALVES, "Mark 10.5 is above 10. Enter 10 or less in steps of 0.5."),
        ("0", FROM_ONE, '"0" is not a mark. Enter 1 to 10 in steps of 0.5.'),
        ("0.5", FROM_ONE, "Mark 0.5 is below 1. Enter 1 to 10 in steps of 0.5."),
        ("6.25", HALVES, '"6.25" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("-7", HALVES, '"-7" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("+7", HALVES, '"+7" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("7.", HALVES, '"7." is not a mark. Enter 10 or less in steps of 0.5.'),
        (".5", HALVES, '".5" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("six", HALVES, '"six" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("7e0", HALVES, '"7e0" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("\u0667", HALVES, '"\u0667" is not a mark. Enter 10 or less in steps of 0.5.'),
        ("7" * 500, HALVES, '"77777777777777777..." is not a mark. Enter 10 or less in steps of 0.5.'),
    ],
)
def test_what_is_no_mark(text, scale, sentence):
    with pytest.raises(InvalidMark) as caught:
        parse_typed_mark(text, scale)
    assert str(caught.value) == sentence


@given(st.sampled_from([HALVES, TENTHS, WHOLES, TO_TWENTY, FROM_ONE]), st.data())
def test_every_mark_can_be_typed_as_it_is_written(scale, data):
    tenths = data.draw(st.sampled_from(list(scale.marks())))
    assert parse_typed_mark(mark_text(tenths), scale) == tenths
    assert parse_typed_mark(mark_text(tenths).replace(".", ","), scale) == tenths


@given(st.text(max_size=6), st.sampled_from([HALVES, TENTHS, WHOLES, TO_TWENTY, FROM_ONE]))
def test_whatever_is_typed_is_a_mark_of_the_scale_or_refused(text, scale):
    try:
        tenths = parse_typed_mark(text, scale)
    except InvalidMark:
        return
    assert tenths in scale


def test_a_scale_holds_its_steps_only():
    assert [tenths for tenths in range(-10, 120) if tenths in MarkScale(10, 30, 5)] == [10, 15, 20, 25, 30]
    assert "70" not in HALVES
    assert 65.0 not in HALVES
