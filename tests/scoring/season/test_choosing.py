"""The search for the best set against all subsets, one by one."""

from fractions import Fraction
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from scoring import season
from scoring.season.aggregates import aggregate
from scoring.season.choosing import choose_best_set
from scoring.season.conditions import FieldTest
from scoring.season.counted import CountedScore
from scoring.season.items import Item, scores_of
from scoring.season.requirements import AllOf, AnyOf, Need, all_met
from scoring.season.windows import SeasonFacts

FACTS = SeasonFacts(4)
WHERE = st.sampled_from(
    [
        (),
        (FieldTest("highest_of_level", "is", (True,)),),
        (FieldTest("percentage", "at_least", (Fraction(62),)),),
        (FieldTest("kind", "is", ("final",)), FieldTest("percentage", "below", (Fraction(64),))),
    ]
)
COUNT = st.sampled_from(["scores", "judges", "competitions", "dates", "tests", "classes", "weekends"])
NEED = st.builds(Need, COUNT, st.integers(0, 3), where=WHERE) | st.builds(
    Need, st.just("competitions"), share=st.sampled_from([Fraction(1, 4), Fraction(1, 2)])
)
MUST = st.lists(
    NEED | st.builds(AnyOf, st.tuples(NEED, st.builds(AllOf, st.tuples(NEED, NEED)))), min_size=1, max_size=3
).map(tuple)
RIDE = st.fixed_dictionaries(
    {
        "percentage": st.integers(60, 66).map(str),
        "judges": st.sampled_from(["J1", "J2", "J3", "J1;J2", "J2;J3", "J1;J2;J3", ""]),
        "competition": st.sampled_from(["C1", "C2", "C3", ""]),
        "date": st.sampled_from(["2027-01-01", "2027-01-02", "2027-01-09", ""]),
        "test": st.sampled_from(["T1", "T2"]),
        "class": st.sampled_from(["K1", "K2"]),
        "kind": st.sampled_from(["set", "final"]),
        "highest_of_level": st.sampled_from(["true", "false", ""]),
    }
)


def entries_of(rides, *, sign=1):
    scores = season.scores_from_rows({**ride, "score_id": f"s{index}"} for index, ride in enumerate(rides))
    return [CountedScore(score, score.percentage, sign * score.percentage) for score in scores]


def items_of(entries):
    return [Item(entry.number, entry.merit, (entry,)) for entry in entries]


def rank(items, how):
    merits = sorted((item.merit for item in items), reverse=True)
    return aggregate(merits, how=how) or Fraction(0), merits


def best_by_trying_all(items, *, number, must, how, besides=()):
    sets = ([*besides, *chosen] for chosen in combinations(items, min(number, len(items))))
    return max((rank(chosen, how) for chosen in sets if all_met(must, scores_of(chosen), FACTS)), default=None)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(RIDE, max_size=8),
    st.integers(1, 5),
    MUST,
    st.sampled_from(["mean", "median", "sum", "best", "count"]),
    st.sampled_from([1, -1]),
)
def test_no_set_that_meets_the_requirements_is_better(rides, number, must, how, sign):
    items = items_of(entries_of(rides, sign=sign))
    chosen = choose_best_set(items, number=number, must=must, aggregate_by=how, facts=FACTS)
    expected = best_by_trying_all(items, number=number, must=must, how=how)
    if chosen is None:
        assert expected is None
    else:
        assert len(chosen) == min(number, len(items))
        assert all_met(must, scores_of(chosen), FACTS)
        assert rank(chosen, how) == expected


@settings(max_examples=100, deadline=None)
@given(st.lists(RIDE, min_size=2, max_size=7), st.integers(1, 3), MUST, st.sampled_from(["sum", "median"]))
def test_scores_counted_on_top_help_to_meet_the_requirements(rides, number, must, how):
    first, *items = items_of(entries_of(rides))
    chosen = choose_best_set(items, number=number, must=must, aggregate_by=how, facts=FACTS, besides=[first])
    expected = best_by_trying_all(items, number=number, must=must, how=how, besides=[first])
    assert (None if chosen is None else rank([first, *chosen], how)) == expected


def test_the_best_median_is_that_of_the_set_together_with_what_counts_on_top():
    """By hand: with the final of 68 on top, 70, 61 and 56 have the median 64.5, but 63, 62 and 61 only 62.5."""
    rides = [
        {"percentage": "70", "kind": "set", "test": "B", "judges": "J1", "competition": "C1"},
        {"percentage": "61", "kind": "freestyle", "test": "A", "judges": "J1", "competition": "C1"},
        {"percentage": "62", "kind": "set", "test": "A", "judges": "J1", "competition": "C3"},
        {"percentage": "63", "kind": "set", "test": "B", "judges": "J2", "competition": "C1"},
        {"percentage": "56", "kind": "set", "test": "B", "judges": "J3", "competition": "C3"},
        {"percentage": "68", "kind": "final", "test": "B", "judges": "J1", "competition": "C2"},
    ]
    *items, final = items_of(entries_of(rides))
    must = (
        Need("scores", 1, where=(FieldTest("kind", "is", ("freestyle",)),)),
        Need("judges", 2, where=(FieldTest("test", "is", ("B",)),)),
        Need("competitions", 3),
    )
    chosen = choose_best_set(items, number=3, must=must, aggregate_by="median", facts=FACTS, besides=[final])
    assert chosen is not None
    assert [item.number for item in chosen] == [70, 61, 56]


@settings(max_examples=100, deadline=None)
@given(st.lists(RIDE, min_size=1, max_size=9), st.integers(1, 3), MUST)
def test_parts_of_several_scores_are_chosen_like_single_ones(rides, number, must):
    entries = entries_of(rides)
    parts = [tuple(entries[index : index + 2]) for index in range(0, len(entries), 2)]
    items = [Item(total, total, part) for part in parts for total in [sum(e.number for e in part)]]
    chosen = choose_best_set(items, number=number, must=must, aggregate_by="mean", facts=FACTS)
    expected = best_by_trying_all(items, number=number, must=must, how="mean")
    assert (None if chosen is None else rank(chosen, "mean")) == expected


def test_sixty_scores_are_searched_at_once_where_the_last_one_is_needed():
    rides = [
        {
            "percentage": str(100 - n),
            "judges": f"J{n % 7}",
            "competition": f"C{n % 11}",
            "date": f"2027-0{n % 9 + 1}-01",
        }
        for n in range(60)
    ]
    rides[-1] |= {"kind": "final"}
    must = (
        Need("scores", 1, where=(FieldTest("kind", "is", ("final",)),)),
        Need("judges", 6),
        Need("competitions", 7),
        Need("dates", 6),
    )
    chosen = choose_best_set(
        items_of(entries_of(rides)), number=8, must=must, aggregate_by="median", facts=SeasonFacts()
    )
    assert chosen is not None
    assert "s59" in {item.entries[0].score_id for item in chosen}
    assert all_met(must, scores_of(chosen), SeasonFacts())


def test_as_many_scores_may_be_asked_for_as_a_scheme_can_name():
    rides = [{"percentage": "70", "judges": f"J{n % 5}"} for n in range(1010)]
    must = (Need("judges", 5),)
    chosen = choose_best_set(
        items_of(entries_of(rides)), number=1000, must=must, aggregate_by="count", facts=SeasonFacts()
    )
    assert chosen is not None
    assert len(chosen) == 1000


def test_requirements_that_exclude_each_other_are_seen_at_once():
    """Six can hold four from C0, or four competitions of which C0 is one, but not both: that needs seven."""
    rides = [
        {
            "percentage": str(100 - n),
            "judges": f"J{n % 10}",
            "competition": f"C{n % 10 if n % 10 < 4 else 0}",
            "test": f"T{n % 7}",
        }
        for n in range(60)
    ]
    must = (
        Need("judges", 6),
        Need("competitions", 4),
        Need("tests", 5),
        Need("scores", 4, where=(FieldTest("competition", "is", ("C0",)),)),
    )
    search = {"number": 6, "must": must, "aggregate_by": "mean", "facts": SeasonFacts()}
    assert choose_best_set(items_of(entries_of(rides)), **search) is None
    assert choose_best_set(items_of(entries_of(rides)), **search | {"number": 7}) is not None
