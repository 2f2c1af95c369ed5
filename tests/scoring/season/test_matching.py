from itertools import permutations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from scoring.season.matching import most_matched

JUDGES = ["J1", "J2", "J3", "J4", "J5"]
CHOICES = st.lists(st.sets(st.sampled_from(JUDGES), max_size=3), max_size=6)


@given(CHOICES)
def test_it_is_the_maximum_bipartite_matching_of_scipy(choices):
    table = np.array([[judge in choice for judge in JUDGES] for choice in choices], dtype=int).reshape(-1, len(JUDGES))
    expected = int((maximum_bipartite_matching(csr_matrix(table), perm_type="column") >= 0).sum()) if choices else 0
    assert most_matched(choices) == expected


@given(CHOICES)
def test_it_is_the_best_of_all_assignments(choices):
    slots = [*JUDGES, *[None] * len(choices)]
    best = max(
        sum(judge in choice for judge, choice in zip(assigned, choices, strict=True))
        for assigned in {p[: len(choices)] for p in permutations(slots[: max(5, len(choices))], len(choices))}
    )
    assert most_matched(choices) == best


def test_a_score_before_several_judges_supplies_only_one_of_them():
    assert most_matched([("J1", "J2", "J3", "J4")]) == 1
    assert most_matched([("J1", "J2"), ("J1",), ("J2", "J3")]) == 3
    assert most_matched([]) == 0


def test_a_change_may_run_through_a_whole_career():
    """1,500 scores before two judges each, the last of whom is in the next: one more score moves every one of them."""
    chain = [(f"J{n}", f"J{n + 1}") for n in range(1500)]
    assert most_matched([*chain, ("J0",)]) == 1501
    assert most_matched([*chain, ("J0",), ("J9",)]) == 1501
