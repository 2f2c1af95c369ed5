from __future__ import annotations

import pytest

from competitions.public.remarks import only_praises, qualities_in


@pytest.mark.parametrize(
    ("remark", "qualities"),
    [
        ("Needs more bend", {"bend"}),
        ("more bend, more active", {"bend", "impulsion"}),
        ("Good, regular", set()),
        ("irregular", {"rhythm"}),
        ("straight", set()),
        ("not straight", {"straightness"}),
        ("Tense; hurried", {"suppleness", "rhythm"}),
        ("tendency to drift", {"straightness"}),
        ("late at the letter", {"accuracy"}),
        ("could overtrack more", {"ground cover"}),
        ("Good bend but lost balance", {"balance"}),
        ("", set()),
        ("…", set()),
    ],
)
def test_a_remark_names_the_qualities_that_it_finds_wanting(remark: str, qualities: set[str]):
    assert qualities_in(remark) == qualities


@pytest.mark.parametrize(
    ("remark", "praises"),
    [("Well ridden", True), ("Good, regular.", True), ("Good, but late", False), ("more bend", False)],
)
def test_praise_is_no_pointer_to_what_to_practise(remark: str, praises: bool):
    assert only_praises(remark) is praises
