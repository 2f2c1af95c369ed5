"""Ranks as bytes sort as the scoring core places rows, whatever the figures."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riders.ranks import Unrankable, figure, is_placed, name_order, place_rank, rest_rank
from scoring.season.ledger import natural_key

fractions = st.fractions(min_value=-(10**6), max_value=10**6, max_denominator=10**6)
keys = st.lists(fractions, max_size=3)


def written(key: list[Fraction]) -> list[bytes]:
    return [figure(part.numerator, part.denominator) for part in key]


def rank(merit: Fraction, ties: list[list[Fraction]]) -> bytes:
    return place_rank(figure(merit.numerator, merit.denominator), map(written, ties))


@given(fractions, fractions)
def test_figures_sort_as_fractions_do(one: Fraction, other: Fraction):
    assert (figure(*one.as_integer_ratio()) < figure(*other.as_integer_ratio())) is (one < other)


@given(st.tuples(fractions, keys, keys), st.tuples(fractions, keys, keys))
def test_the_better_row_ranks_first_and_equal_ones_share(
    one: tuple[Fraction, list[Fraction], list[Fraction]], other: tuple[Fraction, list[Fraction], list[Fraction]]
):
    (merit, *ties), (other_merit, *other_ties) = one, other
    assert (rank(merit, ties) < rank(other_merit, other_ties)) is ((merit, ties) > (other_merit, other_ties))
    assert (rank(merit, ties) == rank(other_merit, other_ties)) is (one == other)


@given(st.text(max_size=12), st.text(max_size=12))
def test_names_sort_as_a_person_would(one: str, other: str):
    if "\0" in one + other or any(0xD800 <= ord(letter) < 0xE000 for letter in one + other):
        return
    assert (name_order(one) < name_order(other)) is (natural_key(one) < natural_key(other))


def test_rows_without_a_place_come_after_those_with_one_by_tier_and_value():
    some, more = figure(60), figure(65)
    order = [
        place_rank(figure(-100), [[]]),
        rest_rank(some, qualified=True, tier_rank=0),
        rest_rank(more, qualified=True, tier_rank=1),
        rest_rank(some, qualified=True, tier_rank=1),
        rest_rank(None, qualified=True, tier_rank=1),
        rest_rank(more, qualified=False, tier_rank=0),
        rest_rank(some, qualified=False, tier_rank=0),
        rest_rank(None, qualified=False, tier_rank=0),
    ]
    assert order == sorted(order)
    assert [is_placed(one) for one in order] == [True] + [False] * 7


@pytest.mark.parametrize("key", [(10**40, 1), (1, 3**40)], ids=["too large", "too fine"])
def test_figures_that_fit_no_rank_say_so(key: tuple[int, int]):
    with pytest.raises(Unrankable):
        figure(*key)


def test_too_many_figures_fit_no_rank():
    with pytest.raises(Unrankable):
        place_rank(figure(1), [[figure(1)] * 500])
