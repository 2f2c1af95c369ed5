"""Standings brought up to date for touched units are those of a whole rebuild, whatever the scheme."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from random import Random

import pytest

from riders.models import Season
from riders.selectors.places import placed_rows, rows_from, rows_one_by_one
from riders.services import standings
from riders.services.associations import import_members
from riders.services.ledger import ScoreRow, post_scores, retract_scores
from riders.services.memberships import MembershipFields, add_membership, membership_record, remove_membership
from riders.services.standing_rows import STORED
from riders.services.standings import rebuild_standings, store_touched
from tests.builders import make_pair, make_season, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

SCHEMES = Path(__file__).parents[2] / "fixtures" / "schemes"
COLUMNS = ("table__number", "table__group", "table__size", *STORED)


def stored(season: Season) -> list[dict[str, object]]:
    return [
        {name: bytes(value) if isinstance(value, memoryview) else value for name, value in row.items()}
        for row in season.rows.values(*COLUMNS)
    ]


def random_row(random: Random, n: int) -> ScoreRow:
    return row(
        random.randint(1, 9),
        key=f"s{n}",
        competition=f"c{random.randint(1, 6)}",
        class_name=str(random.randint(1, 3)),
        date=date(2026, 10, 5) + timedelta(days=random.randint(0, 200)),
        level=random.choice(["novice", "elementary", "medium"]),
        division=random.choice(["open", "junior", ""]),
        test=random.choice(["t1", "t2"]),
        highest_of_level=random.choice([True, False, None]),
        kind=random.choice(["set", "set", "freestyle"]),
        percentage=random.choice(["58", "61.5", "64", "66.667", "70", "70", "72.125"]),
        collectives=random.choice(["50", "52.5", ""]),
        placing=random.choice([1, 1, 2, 3, None]),
        starters=random.choice([3, 8, None]),
        recognised=random.choice([True, True, None]),
        member=random.choice([True, True, False]),
        region=random.choice(["north", "south"]),
        team=random.choice(["Green", "Blue", ""]),
        judges=random.sample(["Judge Lind", "Judge Ahorn", "Judge Eibe"], k=random.randint(1, 2)),
        horse_age=random.choice([6, 9, None]),
    )


def scheme_documents() -> list[object]:
    found = []
    for path in sorted(SCHEMES.glob("examples/*.json")) + sorted(SCHEMES.glob("published/*.json"))[::4]:
        document = json.loads(path.read_text(encoding="utf-8"))
        if document.get("season", {}).get("from"):
            document["season"] |= {"from": "2026-10-01", "to": "2027-09-30"}
        found.append(pytest.param(document, id=document["id"]))
    return found


@pytest.mark.parametrize("document", scheme_documents())
def test_touched_units_give_what_a_whole_rebuild_gives(document: dict[str, object]):
    random = Random(20_270_901)
    season = make_season(scheme=document)
    post_scores([random_row(random, n) for n in range(40)], by=None)
    for step in range(4):
        first = 30 + 4 * step
        post_scores([random_row(random, n) for n in range(first, first + random.randint(1, 3))], by=None)
        if step % 2:
            retract_scores([f"s{random.randint(0, 30)}"], by=None, reason="withdrawn")
        touched = stored(season)
        rebuild_standings(season)
        assert touched == stored(season), step


def test_only_the_units_of_touched_pairs_are_worked_out(monkeypatch: pytest.MonkeyPatch):
    season = make_season(scheme=qualifying_scheme(require=[]))
    post_scores([row(n, key=f"s{n}", percentage=f"6{n}") for n in range(1, 6)], by=None)
    asked: list[object] = []
    read = standings.read_columns

    def spy(*given: object, **options: object) -> object:
        columns = read(*given, **options)
        asked.append((len(columns), options["pairs"]))
        return columns

    monkeypatch.setattr(standings, "read_columns", spy)
    post_scores([row(2, key="t", percentage="80")], by=None)
    assert asked == [(2, [make_pair(2).pk])]
    placed = list(rows_one_by_one(season.tables.get()))
    assert (placed[0].unit, placed[0].value) == ("R2/H2", "71.000")
    assert [one.unit for one in placed] == ["R2/H2", "R5/H5", "R4/H4", "R3/H3", "R1/H1"]
    assert [one.placing for one in placed] == [1, 2, 3, 4, 5]


def test_a_score_that_goes_to_another_pair_touches_both():
    season = make_season(scheme=qualifying_scheme(require=[]))
    post_scores([row(1, key="a", percentage="70"), row(1, key="b", percentage="60"), row(2, key="c")], by=None)
    post_scores([row(2, key="a", percentage="70")], by=None)
    assert dict(season.rows.values_list("unit", "value")) == {"R1/H1": "60.000", "R2/H2": "67.500"}


def test_a_table_that_appears_or_goes_has_the_others_numbered_anew():
    season = make_season(scheme=qualifying_scheme(require=[]))
    post_scores([row(1, key="a", level="medium")], by=None)
    post_scores([row(2, key="b", level="elementary")], by=None)
    assert list(season.rows.values_list("table__number", "table__group__level")) == [(0, "elementary"), (1, "medium")]
    retract_scores(["b"], by=None, reason="withdrawn")
    assert list(season.rows.values_list("table__number", "table__group__level")) == [(0, "medium")]


@pytest.mark.parametrize(
    "changes",
    [
        {"rerank": ["class"]},
        {"score": [{"take": "placing"}, {"places": {"1": "6", "*": "1"}, "shared": "mean"}]},
        {"require": [{"count": "competitions", "share_of_competitions": "0.5"}]},
        {"unit": "team"},
    ],
    ids=["places counted again", "shared places", "share of competitions", "team"],
)
def test_what_depends_on_others_is_rebuilt_whole(changes: dict[str, object]):
    season = make_season(scheme=qualifying_scheme(**changes))
    post_scores([row(1)], by=None)
    season.refresh_from_db()
    assert store_touched(season, pairs=[make_pair(1).pk]) is False


def test_only_the_units_of_a_rider_follow_a_membership(monkeypatch: pytest.MonkeyPatch):
    season = make_season(scheme=qualifying_scheme(require=[], eligible=[{"field": "member", "is": True}]))
    post_scores([row(n, key=f"s{n}") for n in range(1, 4)], by=None)
    asked: list[object] = []
    compute = standings.compute_rows
    monkeypatch.setattr(
        standings,
        "compute_rows",
        lambda *given, units=None, **rest: (asked.append(units), compute(*given, units=units, **rest))[1],
    )
    days = MembershipFields(number="1", division="", starts_on=date(2026, 1, 1), ends_on=None)
    for n, number in ((1, "1"), (2, "2")):
        rider = make_pair(n).rider
        held = add_membership(
            season.association, member=rider, fields=replace(days, number=number), by=None, reason="joined"
        )
    assert asked == [None, frozenset({"R2/H2"})]
    assert {one.unit for one in season.rows} == {"R1/H1", "R2/H2"}
    remove_membership(held, before=membership_record(held), by=None, reason="never joined")
    assert asked[2:] == [frozenset({"R2/H2"})]
    text = "association,member_number,kind,name,registration,from\n"
    import_members(f"{text}linden,3,person,Rider 3,R3,2026-01-01\n", by=None)
    assert asked[3:] == [frozenset({"R3/H3"})]
    assert {one.unit for one in season.rows} == {"R1/H1", "R3/H3"}


def test_figures_that_fit_no_rank_are_numbered_and_ranked_as_a_whole():
    score = [{"divide": "3000000000000"}, {"divide": "7000000000000"}, {"divide": "11000000000000"}]
    scheme = qualifying_scheme(require=[], score=score, ties=[{"by": "best-score"}], decimals=0)
    season = make_season(scheme=scheme)
    post_scores([row(n, key=f"s{n}", percentage=f"6{n % 3}") for n in range(1, 6)], by=None)
    placed = list(rows_one_by_one(season.tables.get(shown=True)))
    assert [(one.unit, one.placing, one.shared) for one in placed] == [
        ("R2/H2", 1, True), ("R5/H5", 1, True), ("R1/H1", 3, True), ("R4/H4", 3, True), ("R3/H3", 5, False),
    ]  # fmt: skip
    assert store_touched(season, pairs=[make_pair(1).pk]) is False


def test_pages_of_a_table_agree_with_all_of_it_on_who_shares():
    season = make_season(scheme=qualifying_scheme(require=[{"count": "scores", "at_least": 1}]))
    post_scores([row(n, key=f"s{n}", percentage=f"6{n // 3}") for n in range(1, 17)], by=None)
    table = season.tables.get(shown=True)
    whole = [(one.unit, one.placing, one.shared) for one in rows_one_by_one(table)]
    for number in (1, 2, 3, 5):
        paged = [one for first in range(0, 16, number) for one in rows_from(table, first=first, number=number)]
        assert [(one.unit, one.placing, one.shared) for one in paged] == whole
    assert [(one.unit, one.placing, one.shared) for one in placed_rows(season.rows)] == whole
