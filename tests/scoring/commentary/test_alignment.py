"""What decides: the words, the order, the turns of speech and the times, each by itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

import scoring
from scoring import commentary
from scoring.commentary import Cue
from tests.scoring.commentary.labelled import commentaries, read_test

NOVICE = read_test("larkfield-novice-1")
MEDIUM = read_test("larkfield-medium-1")
MARK = {"min": "0", "max": "10", "step": "0.5"}


def laid(test, *lines, **options):
    return commentary.align(test, commentary.read_commentary("\n".join(lines)), **options)


def items(test, *lines, **options):
    return [assignment.item for assignment in laid(test, *lines, **options)]


def test_the_words_and_the_order_decide():
    assert items(
        NOVICE,
        "Straight entry, square halt.",
        "Circle at B a bit large.",
        "Longer strides over X, in balance.",
        "The next circle was better.",
        "Canter circle lost its balance.",
        "Free walk with a good overtrack.",
        "Final halt not square.",
    ) == ["1", "2", "3", "4", "6", "11", "20"]


def test_the_same_words_later_in_the_ride_are_about_the_later_movement():
    said = ("Working canter left, prompt.", "Circle, round.", "Medium walk tense.", "B turn left, balanced.")
    assert items(NOVICE, *said, "Working canter right, late.", "Circle, too big.") == ["5", "6", "10", "14", "15", "16"]


def test_letters_gaits_paces_and_sizes():
    assert items(MEDIUM, "H to F, uphill.", "K to E, angle varies.", "Eight metres, round.", "V to R, overtracks.") == [
        "2", "4", "5", "15",
    ]  # fmt: skip
    said = ("Extended trot, bold.", "Collected walk hurried.", "Medium canter uphill.", "Extended canter bold.")
    assert items(MEDIUM, *said) == [
        "11", "16", "18", "21",
    ]  # fmt: skip


def test_a_remark_that_names_nothing_goes_on_about_the_movement_before():
    assert items(NOVICE, "Free walk, good overtrack.", "Could stretch a little more.", "Nice.") == ["11"] * 3


def test_a_judge_may_look_back():
    said = (
        "Shoulder-in with cadence.",
        "Volte was fine.",
        "Going back to the shoulder-in, the angle varied.",
        "Half-pass fluent.",
    )
    assert items(MEDIUM, *said) == ["4", "5", "4", "6"]


def test_the_whole_ride_is_no_movement():
    said = (
        "Good morning to you.",
        "Entry straight.",
        "Halt at the end square.",
        "Overall a pleasing pair.",
        "Thank you.",
    )
    assert items(NOVICE, *said) == [None, "1", "20", None, None]


def test_collective_marks_are_the_whole_ride():
    assert items(NOVICE, "Final halt square.", "Paces seven.", "Submission six.", "Rider, quiet hands.") == [
        "20",
        None,
        None,
        None,
    ]


def test_a_movement_is_found_by_its_number():
    assert items(NOVICE, "Movement 9, could be better.", "Number 14, accurate.") == ["9", "14"]


def test_a_test_without_families_gaits_and_places_is_enough():
    test = scoring.read_test(
        {
            "format": "test/1",
            "id": "plain",
            "mark": MARK,
            "items": [
                {"id": "a", "text": "Enter in trot. Halt."},
                {"id": "b", "text": "Quarter marker flourish to the left."},
                {"id": "c", "text": "Circle in canter."},
            ],
        }
    )
    assert items(test, "Halt crooked.", "The flourish was charming.", "Nice canter circle.") == ["a", "b", "c"]


def test_a_cue_is_split_where_it_surely_speaks_of_two_movements():
    found = laid(
        NOVICE, "x", "[0:40] Free walk with good overtrack. Trot at A hesitant. Canter right, late strike-off at C."
    )[1:]
    assert [(row.index, row.part, row.item) for row in found] == [(1, 0, "11"), (1, 1, "13"), (1, 2, "15")]
    assert [row.start for row in found] == [Fraction(40), None, None]


def test_the_parts_of_a_cue_share_its_time():
    text = "WEBVTT\n\n01:00.000 --> 01:10.000\nCircle at B round, and then the diagonal showed lengthened strides.\n"
    first, second = commentary.align(NOVICE, commentary.read_commentary(text))
    assert [(first.item, first.part), (second.item, second.part)] == [("2", 0), ("3", 1)]
    assert first.start == 60
    assert first.end == second.start
    assert 60 < second.start < second.end == 70


def test_a_cue_that_is_not_surely_split_stays_whole():
    found, _ = laid(NOVICE, "[0:40] Circle at B was good. Still, a bit flat.", "[1:00] Change of rein.")
    assert (found.index, found.part, found.item) == (0, None, "2")
    assert found.text == "Circle at B was good. Still, a bit flat."


def test_a_sentence_that_cues_break_is_about_one_movement():
    broken = (
        "[1:00] Then in the free walk",
        "[1:02] the horse takes his time until",
        "[1:04] the rein is long enough.",
    )
    assert items(NOVICE, *broken, "[1:10] Trot on.")[:3] == ["11", "11", "11"]


def test_a_cue_without_words_is_nothing():
    cues = [Cue(0, Fraction(1), Fraction(2), ""), Cue(1, Fraction(3), Fraction(4), "Straight entry.")]
    empty, entry = commentary.align(NOVICE, cues)
    assert (empty.item, empty.confidence, empty.start) == (None, "0.00", 1)
    assert entry.item == "1"


def test_known_times_of_movements_decide_where_words_do_not():
    times = {item.id: (20 * number, 20 * number + 20) for number, item in enumerate(NOVICE.items[:20])}
    cues = [Cue(index, Fraction(moment), None, "Good.") for index, moment in enumerate((25, 130, 205, 390))]
    found = commentary.align(NOVICE, cues, movement_times=times)
    assert [row.item for row in found] == ["1", "6", "10", "19"]


def test_known_times_of_some_movements_are_enough():
    cues = [Cue(0, Fraction(300), None, "Circle, round."), Cue(1, Fraction(304), None, "Good.")]
    found = commentary.align(
        NOVICE, cues, movement_times={"16": (290, 303), "2": (20, 35), "4": (50, 60), "6": (80, 95)}
    )
    assert [row.item for row in found] == ["16", "16"]
    assert commentary.align(NOVICE, cues)[0].item != "16"


def test_a_long_silence_speaks_for_a_later_movement():
    near = [
        Cue(0, Fraction(60), Fraction(62), "Circle at B, active."),
        Cue(1, Fraction(63), Fraction(64), "Runs a bit."),
    ]
    later = [near[0], replace(near[1], start=Fraction(90), end=Fraction(91))]
    assert [row.item for row in commentary.align(NOVICE, near)] == ["2", "2"]
    assert commentary.align(NOVICE, later)[1].item != "2"


@pytest.mark.parametrize("labelled", commentaries()[::4], ids=lambda labelled: labelled.name)
def test_the_ride_never_goes_back_by_more_than_two_movements(labelled):
    order = [item.id for item in labelled.test.items]
    furthest = 0
    for assignment in commentary.align(labelled.test, commentary.read_commentary(labelled.text)):
        if assignment.item is not None:
            place = order.index(assignment.item)
            assert place >= furthest - 2
            furthest = max(furthest, place)


def test_later_times_all_along_change_nothing():
    labelled = commentaries()[0]
    cues = commentary.read_commentary(labelled.text)
    moved = [replace(cue, start=cue.start + 1000, end=cue.end + 1000) for cue in cues]
    assert [(row.item, row.confidence) for row in commentary.align(labelled.test, moved)] == [
        (row.item, row.confidence) for row in commentary.align(labelled.test, cues)
    ]


def test_marks_play_no_role():
    one = items(NOVICE, "Entry six and a half.", "Circle seven.", "Free walk eight.")
    assert one == items(NOVICE, "Entry four.", "Circle five.", "Free walk nine.") == ["1", "2", "11"]


def test_times_that_no_decimal_can_write_are_rounded():
    (found,) = commentary.align(NOVICE, [Cue(0, Fraction(1, 3), None, "Straight entry.")])
    assert found.as_dict()["start"] == "0.333"
