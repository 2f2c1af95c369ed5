from __future__ import annotations

import pytest

from reports.tiewords import tie_words

STEPS = [
    {"by": "collectives"},
    {"by": "part", "part": "artistic"},
    {"by": "seat", "seat": "C"},
    {"by": "seat", "seat": "B"},
]


@pytest.mark.parametrize(
    ("tie", "words"),
    [
        (None, ""),
        ({"with": ["5", "8"], "step": None, "value": None}, "equal with 5, 8"),
        ({"with": ["5"], "step": "collectives", "value": "56.5"}, "equal with 5, parted by collective marks: 56.5"),
        ({"with": ["5"], "step": "part", "value": "74.183"}, "equal with 5, parted by the artistic part: 74.183"),
        ({"with": ["5"], "step": "median", "value": "68.5"}, "equal with 5, parted by the median sheet: 68.5"),
        ({"with": ["5"], "step": "seat", "value": "68.5"}, "equal with 5, parted by seat: 68.5"),
        ({"with": ["5"], "step": "best-total", "value": "68.5"}, "equal with 5, parted by best total: 68.5"),
    ],
)
def test_what_parted_equal_totals_is_said_in_the_words_of_the_trade(tie, words):
    assert tie_words(tie, STEPS) == words
