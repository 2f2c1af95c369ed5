from __future__ import annotations

import pytest

import scoring
from competitions.desk.paper import compare_total

FULL = scoring.SheetSummary("182.5", "280", "65.179", complete=True, missing=())
GAPS = scoring.SheetSummary("182.5", "270", "67.593", complete=False, missing=("4",))


@pytest.mark.parametrize(
    ("typed", "summary", "state", "difference"),
    [
        ("", FULL, "none", ""),
        ("182.5", FULL, "agrees", ""),
        ("182,50", FULL, "agrees", ""),
        ("65.179", FULL, "agrees", ""),  # the percentage in place of the points
        ("183", FULL, "differs", "0.5"),
        ("181.5", FULL, "differs", "-1"),
        ("180", GAPS, "none", ""),  # nothing to compare with before the boxes are filled
        ("many", FULL, "unreadable", ""),
    ],
)
def test_the_total_on_the_paper_is_compared_exactly(typed, summary, state, difference):
    found = compare_total(typed, summary)
    assert (found.state, found.difference) == (state, difference)


def test_a_difference_is_said_in_a_sentence():
    assert compare_total("181.5", FULL).sentence == (
        "The paper says 181.5, our marks add up to 182.5: the paper has 1 point less."
    )
