"""The columnar path and the exact one give equal rows: on random ledgers, for published schemes and random ones."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riders.models import Membership, Score, Season
from riders.services.columns import is_columnar
from riders.services.columns.reading import _BETWEEN
from riders.services.ledger import ScoreRow, post_scores
from riders.services.standings import _by_columns, compute_rows_exactly
from scoring import season as season_rules
from tests.builders import make_pair, make_season, qualifying_scheme
from tests.riders.test_touched_standings import random_row

pytestmark = pytest.mark.django_db

SCHEMES = Path(__file__).parents[2] / "fixtures" / "schemes"


def documents() -> list[Any]:
    found = []
    for path in sorted(SCHEMES.glob("*/*.json")):
        document = json.loads(path.read_text(encoding="utf-8"))
        if document.get("season", {}).get("from") or document.get("season", {}).get("to"):
            document["season"] = {"from": "2026-10-10", "to": "2027-03-30"}
        if is_columnar(season_rules.read_scheme(document)):
            found.append(pytest.param(document, id=document["id"]))
    return found


def fill(random: Random, scores: int) -> None:
    rows = [random_row(random, n) for n in range(scores)]
    Score.objects.bulk_create(
        Score(posted_at="2027-09-30T12:00:00Z", **{name: getattr(row, name) for name in ScoreRow.__dataclass_fields__})
        for row in rows
    )


def assert_equal(season: Season, document: dict[str, Any]) -> None:
    scheme = season_rules.read_scheme(document)
    exact = compute_rows_exactly(season, scheme)
    assert _by_columns(season, scheme, pairs=None, progress=lambda _share: None) == exact
    if scheme.unit == "pair":
        some = sorted({row.unit for row in exact})[::2]
        pairs = [make_pair(int(unit[1:].split("/")[0])).pk for unit in some]
        partly = _by_columns(season, scheme, pairs=pairs, progress=lambda _share: None)
        if not scheme.season.rolling:
            exactly = compute_rows_exactly(season, scheme, units=frozenset(some))
            assert {row[:1] + row[3:4]: row for row in partly} == {row[:1] + row[3:4]: row for row in exactly}


def test_enough_published_schemes_take_the_columnar_path():
    assert len(documents()) > 20


@pytest.mark.parametrize("document", documents())
def test_published_schemes_give_equal_rows_on_both_paths(document: dict[str, Any]):
    season = make_season()
    fill(Random(document["id"]), 90)
    assert_equal(season, document)


conditions = st.one_of(
    st.sampled_from(
        [
            {"field": "level", "in": ["novice", "medium"]},
            {"field": "recognised", "is": True},
            {"field": "percentage", "at_least": "61.5"},
            {"field": "judges", "not_in": ["Judge Eibe"]},
            {"field": "judge_count", "at_least": 2},
            {"field": "date", "after": "2026-11-15"},
            {"field": "placing", "at_most": 2},
            {"field": "x-own", "is": "1"},
            {"field": "percentage", "at_least_by": {"level": {"novice": "62", "medium": "58"}}},
            {"not": {"field": "kind", "is": "freestyle"}},
            {"any": [{"field": "region", "is": "north"}, {"field": "highest_of_level", "is": True}]},
            {"not": {"all": [{"field": "starters", "above": 3}, {"field": "recognised", "is": True}]}},
        ]
    )
)
wheres = st.lists(conditions, max_size=2)
counts = st.sampled_from(
    ["scores", "judges", "competitions", "dates", "tests", "levels", "classes", "venues", "weekends", "pairs",
     "riders", "horses"]
)  # fmt: skip
needs = st.builds(
    lambda count, bound, number, where: {"count": count, bound: number} | ({"where": where} if where else {}),
    counts, st.sampled_from(["at_least", "at_most"]), st.integers(0, 4), wheres,
)  # fmt: skip
requirements = st.one_of(needs, st.builds(lambda one, other, third: {"any_of": [one, [other, third]]}, *[needs] * 3))
steps = st.sampled_from(
    [
        [],
        [{"take": "percentage"}, {"add": "-60"}, {"divide": "3"}],
        [{"take": "placing"}, {"places": {"1": "6", "2": "4.5", "*": "1"}}],
        [{"bands": [["60", "1"], ["65", "2.5"], ["70", "4"]], "below": "0"}],
        [{"multiply_by": {"level": {"novice": "1", "elementary": "1.15", "*": "1.3"}}}],
        [{"add_by": {"judge_count": {"1.0": "0", "2": "1.5", "*": "2"}}}],
        [{"multiply_by": {"collectives": {"54.0": "2", "*": "1"}}}],
        [{"linear": {"x-own": {"1": ["2", "-60"], "*": ["1", "0"]}}}],
        [{"round": {"decimals": 0}}],
        [{"constant": "1"}],
        [{"plus": [{"take": "collectives"}]}],
        [{"when": {"field": "kind", "is": "freestyle"}, "then": [{"add": "2"}], "else": [{"multiply": "2"}]}],
    ]
)
limits = st.builds(
    lambda keep, number, per, where: {"keep": keep, "number": number, "per": per} | ({"where": where} if where else {}),
    st.sampled_from(["best", "first", "last"]), st.integers(1, 3),
    st.lists(st.sampled_from(["competition", "test", "division", "class", "collectives"]), unique=True, max_size=2),
    wheres,
)  # fmt: skip
takes = st.one_of(
    st.none(), st.builds(lambda how, number: {how: number}, st.sampled_from(["best", "last"]), st.integers(1, 5))
)
drops = st.one_of(
    st.none(),
    st.builds(lambda number, more: {"number": number, "when_more_than": more}, st.integers(1, 3), st.integers(0, 4)),
)
values = st.builds(
    lambda aggregate, take, drop, more: {
        name: value
        for name, value in (("aggregate", aggregate), ("take", take), ("drop_lowest", drop), ("add_per_score", more))
        if value is not None
    },
    st.sampled_from(["mean", "median", "sum", "best", "count"]), takes, drops, st.sampled_from([None, "0.25", "-1"]),
)  # fmt: skip
ties = st.one_of(
    st.builds(
        lambda by, of, where: {"by": by, "of": of} | ({"where": where} if where else {}),
        st.sampled_from(
            ["best-score", "next-best-scores", "more-scores", "fewer-scores", "latest-score", "best-collectives",
             "mean-percentage", "most-firsts"]
        ),
        st.sampled_from(["counted", "all"]), wheres,
    ),
    st.builds(lambda count: {"by": "more", "count": count}, counts),
    st.builds(lambda where: {"by": "better-in", "where": [where]}, conditions),
)  # fmt: skip
after = st.sampled_from(
    [[], [], [{"one_per": "rider"}], [{"places": 2}], [{"minimum_units": 3}], [{"exclude": ["R1/H1"]}]]
)


@st.composite
def schemes(draw: st.DrawFn) -> dict[str, Any]:
    mode = draw(st.sampled_from(["rank", "rank", "qualify", "achieve"]))
    document: dict[str, Any] = {
        "format": "scheme/1",
        "id": "random",
        "mode": mode,
        "unit": draw(st.sampled_from(["pair", "pair", "rider", "horse", "team"])),
        "group_by": draw(st.lists(st.sampled_from(["level", "division", "highest_of_level"]), unique=True, max_size=2)),
        "season": draw(
            st.sampled_from(
                [{"lifetime": True}, {"from": "2026-10-20", "to": "2027-02-28"}, {"rolling_months": 3},
                 {"rolling_days": 60}]
            )
        ),
        "eligible": draw(wheres),
        "score": draw(steps),
        "limit": draw(st.lists(limits, max_size=2)),
        "require": draw(st.lists(requirements, max_size=2)),
        "value": draw(values),
        "decimals": draw(st.integers(0, 4)),
        "rounding": draw(st.sampled_from(["half-up", "half-even", "down"])),
        "order": draw(st.sampled_from(["descending", "descending", "ascending"])),
        "ties": draw(st.lists(ties, max_size=2)),
        "after": draw(after),
    }  # fmt: skip
    if draw(st.booleans()):
        document["threshold"] = draw(st.sampled_from(["62", {"above": "61"}, {"below": "66"}]))
    if mode == "achieve":
        document["tiers"] = [
            {"name": f"T{n}", "require": [need]}
            for n, need in enumerate(draw(st.lists(requirements, min_size=1, max_size=3)))
        ]
    return document


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(schemes(), st.integers(0, 2**20), st.integers(1, 60))
def test_random_schemes_give_equal_rows_on_both_paths(document: dict[str, Any], seed: int, scores: int):
    season = Season.objects.filter(slug="2027").first() or make_season()
    Score.objects.all().delete()
    fill(Random(seed), scores)
    assert is_columnar(season_rules.read_scheme(document))
    assert_equal(season, document)


def test_memberships_are_looked_at_on_the_day_of_the_ride():
    season = make_season()
    fill(Random(7), 60)
    for n, (first, last) in enumerate(
        [(date(2026, 10, 1), date(2026, 12, 1)), (date(2027, 1, 1), None), (date(2026, 11, 1), date(2027, 2, 1))]
    ):
        Membership.objects.create(
            association=season.association, number=str(n), kind="person", rider=make_pair(1 + n % 2).rider,
            starts_on=first, ends_on=last,
        )  # fmt: skip
    assert_equal(season, qualifying_scheme(require=[], eligible=[{"field": "member", "is": True}]))


def test_a_text_that_holds_the_sign_between_texts_is_read_all_the_same():
    season = make_season()
    fill(Random(8), 30)
    Score.objects.filter(key="s1").update(competition=f"c{_BETWEEN}1")
    assert_equal(season, qualifying_scheme(require=[{"count": "competitions", "at_least": 2}]))


def test_figures_beyond_integers_of_the_machine_take_the_exact_path():
    season = make_season(scheme=qualifying_scheme(require=[], score=[{"multiply": "100000000000000.5"}], decimals=9))
    post_scores([random_row(Random(3), n) for n in range(20)], by=None)
    scheme = season_rules.read_scheme(season.scheme.document)
    assert [(row.unit, row.value) for row in season.rows] == [
        (row.unit, row.value) for row in compute_rows_exactly(season, scheme)
    ]


def test_a_ledger_without_scores_gives_no_rows():
    assert_equal(make_season(), qualifying_scheme())
