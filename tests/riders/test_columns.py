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


DAYS = [
    date(2026, 9, 30), date(2026, 10, 1), date(2026, 10, 19), date(2026, 10, 20), date(2026, 11, 15),
    date(2026, 11, 16),
    date(2026, 12, 31), date(2027, 1, 1), date(2027, 1, 3), date(2027, 1, 4), date(2027, 2, 28), date(2027, 3, 1),
    date(2027, 9, 30), date(2027, 10, 1),
]  # fmt: skip
"""First and last days of the seasons drawn below and the days beside them; a new year, and weeks that run into one."""
FIGURES = ["70", "70.0", "70.000", "070", "61.5", "61.50", "61.499", "0", "100", "100.000", "66.667", "60", ""]


def odd_score(random: Random, n: int, *, few: bool) -> Score:
    """Return a score whose values may be written in several ways, may be missing, and are often equal to others'."""
    judges = random.sample(["Judge Lind", "Judge Ahorn", "Judge Eibe", "Judge Ulme"], k=random.randint(0, 3))
    return Score(
        key=random.choice([f"s{n}", f"S{n}", f"s0{n}", f"linden/{n}/é"]),
        source=random.choice(["class", "import"]),
        pair=make_pair(random.randint(1, 3 if few else 12)),
        competition=random.choice(["c1", "c2", "C2", "c 10", "é"]),
        class_name=random.choice(["1", "2", "10", ""]),
        date=random.choice(DAYS),
        level=random.choice(["novice", "elementary", "medium", "Médium", ""]),
        division=random.choice(["open", "junior", ""]),
        test=random.choice(["t1", "t2", ""]),
        highest_of_level=random.choice([True, False, None]),
        kind=random.choice(["set", "freestyle", ""]),
        percentage=random.choice(FIGURES),
        collectives=random.choice(["50", "50.0", "52.5", ""]),
        placing=random.choice([1, 1, 2, 3, 12, None]),
        starters=random.choice([1, 3, 4, 12, None]),
        status=random.choice(["completed", "completed", "eliminated", "retired"]),
        hors_concours=random.choice([None, True, False, False]),
        recognised=random.choice([True, False, None]),
        member=random.choice([True, False, None]),
        region=random.choice(["north", "south", ""]),
        team=random.choice(["Green", "green", "Blue", ""]),
        venue=random.choice(["Lindenhof", ""]),
        owner=random.choice(["Owner 1", "Owner 2", "Stable; Hill", ""]),
        judges=judges,
        horse_age=random.choice([4, 6, 9, None]),
        posted_at="2027-09-30T12:00:00Z",
        retracted_at=random.choice([None, None, None, "2027-09-30T13:00:00Z"]),
    )


def fill_oddly(random: Random, scores: int) -> None:
    """Fill the ledger in any order, correct some scores afterwards, and give riders memberships that end on a ride."""
    few = random.random() < 0.4
    rows = [odd_score(random, n, few=few) for n in range(scores)]
    random.shuffle(rows)
    Score.objects.bulk_create(rows)
    for score in random.sample(rows, k=len(rows) // 5):
        score.percentage, score.placing = random.choice(FIGURES), random.choice([1, 2, None])
        score.pair = make_pair(random.randint(1, 5))
        score.retracted_at = random.choice([None, "2027-09-30T13:00:00Z"])
        score.save()
    for n in range(random.choice([0, 0, 1, 4])):
        first, last = sorted(random.sample(DAYS, k=2))
        pair = make_pair(random.randint(1, 4))
        whose = (
            {"kind": "person", "rider": pair.rider} if random.random() < 0.8 else {"kind": "horse", "horse": pair.horse}
        )
        Membership.objects.create(
            association=Season.objects.get().association, number=str(n),
            starts_on=random.choice([first, last]), ends_on=random.choice([last, None]), **whose,
        )  # fmt: skip


def assert_equal(season: Season, document: dict[str, Any], as_of: date | None = None) -> None:
    scheme = season_rules.read_scheme(document)
    exact = compute_rows_exactly(season, scheme, as_of=as_of)
    assert _by_columns(season, scheme, pairs=None, as_of=as_of, progress=lambda _share: None) == exact
    if scheme.unit == "pair":
        some = sorted({row.unit for row in exact})[::2]
        pairs = [make_pair(int(unit[1:].split("/")[0])).pk for unit in some]
        partly = _by_columns(season, scheme, pairs=pairs, as_of=as_of, progress=lambda _share: None)
        if as_of is not None or not scheme.season.rolling:
            exactly = compute_rows_exactly(season, scheme, units=frozenset(some), as_of=as_of)
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
            {"field": "percentage", "at_least_by": {"percentage": {"70": "62", "*": "61.5"}}},
            {"field": "percentage", "is": "70.000"},
            {"field": "percentage", "in": ["70", "61.50"]},
            {"not": {"field": "percentage", "not_in": ["70.0", "100"]}},
            {"field": "hors_concours", "is": False},
            {"not": {"field": "hors_concours", "is": True}},
            {"field": "member", "is": True},
            {"field": "owner", "in": ["Owner 1", "Stable; Hill"]},
            {"field": "date", "before": "2027-01-01"},
            {"field": "date", "at_most": "2027-03-01"},
            {"field": "status", "not_in": ["eliminated"]},
            {"field": "collectives", "at_least": "50.00"},
            {"field": "judges", "in": ["Judge Lind", "Judge Ulme"]},
            {"field": "horse_age", "in": [4, 9]},
            {"field": "rider", "is": "Rider 1"},
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
        [{"multiply_by": {"percentage": {"70": "2", "61.50": "3", "100.000": "1", "*": "1"}}}],
        [{"add_by": {"highest_of_level": {"true": "1", "*": "0"}}}],
        [{"add_by": {"horse_age": {"4": "1", "9": "2"}}}],
        [{"linear": {"kind": {"set": ["10", "-500"], "*": ["1", "0"]}}}],
        [{"when": {"field": "percentage", "is": "70"}, "then": [{"constant": "3"}]}],
        [{"take": "judge_count"}, {"multiply": "0.333"}],
        [{"take": "horse_age"}],
        [{"take": "starters"}, {"divide": "7"}],
        [{"round": {"decimals": 0}}],
        [{"constant": "1"}],
        [{"plus": [{"take": "collectives"}]}],
        [{"when": {"field": "kind", "is": "freestyle"}, "then": [{"add": "2"}], "else": [{"multiply": "2"}]}],
    ]
)
PER = ["competition", "test", "division", "class", "collectives", "date", "percentage", "hors_concours", "owner"]
GROUPS = ["level", "division", "highest_of_level", "kind", "owner", "hors_concours", "horse_age", "percentage"]
limits = st.builds(
    lambda keep, number, per, where: {"keep": keep, "number": number, "per": per} | ({"where": where} if where else {}),
    st.sampled_from(["best", "first", "last"]), st.integers(1, 3),
    st.lists(st.sampled_from(PER), unique=True, max_size=2),
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
        "unit": draw(st.sampled_from(["pair", "pair", "rider", "rider", "horse", "team", "owner", "region"])),
        "group_by": draw(st.lists(st.sampled_from(GROUPS), unique=True, max_size=2)),
        "season": draw(
            st.sampled_from(
                [{"lifetime": True}, {"from": "2026-10-20", "to": "2027-02-28"}, {"rolling_months": 3},
                 {"rolling_days": 60}, {"from": "2026-10-01"}, {"to": "2027-02-28"},
                 {"from": "2026-10-01", "to": "2027-09-30"}]
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
    document["group_by"] = [field for field in document["group_by"] if field != document["unit"]]
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


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(schemes(), st.integers(0, 2**20), st.integers(0, 40), st.sampled_from([None, *DAYS[3:]]))
def test_odd_ledgers_give_equal_rows_on_both_paths(
    document: dict[str, Any], seed: int, scores: int, as_of: date | None
):
    season = Season.objects.filter(slug="2027").first() or make_season()
    Membership.objects.all().delete()
    Score.objects.all().delete()
    fill_oddly(Random(seed), scores)
    assert is_columnar(season_rules.read_scheme(document))
    assert_equal(season, document, as_of)


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
