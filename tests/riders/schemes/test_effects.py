"""What a draft would do to a season, compared with the standings that the season then really has."""

from __future__ import annotations

from random import Random

import pytest

from riders.errors import InvalidInput
from riders.models import Season
from riders.selectors.seasons import standings_tables
from riders.services import scheme_effects
from riders.services.scheme_differences import differences
from riders.services.scheme_effects import effect_of, names_of_units, unit_under
from riders.services.scheme_switches import switch_season
from riders.services.scheme_versions import save_version
from riders.services.standings import rebuild_standings
from tests.builders import make_season, qualifying_scheme
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db


@pytest.fixture
def season() -> Season:
    """Return a season of twelve pairs at two levels with three scores each; pair 1 has one more, at its first show."""
    random, season = Random(20_270_203), make_season()
    for n in range(1, 13):
        for show in range(1, 4):
            post(
                row(
                    n,
                    key=f"s{n}-{show}",
                    competition=f"show-{show}",
                    level=("novice", "medium")[n % 2],
                    percentage=f"{random.randrange(55_000, 75_000) / 1000:.3f}",
                )
            )
    post(row(1, key="s1-4", competition="show-1", level="medium", percentage="90.000"))
    rebuild_standings(season)
    season.refresh_from_db()
    return season


def stored(season: Season) -> dict[tuple[str, str], tuple[object, ...]]:
    return {
        (row.unit, row.group.get("level", "")): (row.placing, row.value, row.qualified)
        for table in standings_tables(season)
        for row in table.rows
    }


def test_it_is_what_the_season_would_become(season):
    draft = qualifying_scheme(
        require=[{"count": "scores", "at_least": 4}], value={"take": {"best": 1}, "aggregate": "mean"}
    )
    before = stored(season)
    effect = effect_of(draft, season)
    assert (effect.comparable, effect.scores, effect.units) == (True, 37, (12, 12))
    assert effect.qualified == (12, 1)
    assert effect.counts["falls"] == 11
    assert stored(season) == before
    scheme = save_version(draft, association=season.association, based_on=1, by=None, reason="decided")
    switch_season(season, to=scheme, instead_of=season.scheme, by=None, reason="decided")
    after = stored(season)
    assert {
        (one.unit, one.after.group): (one.after.placing, one.after.value, one.after.qualified) for one in effect.rows
    } == after
    assert {
        (one.unit, one.before.group): (one.before.placing, one.before.value, one.before.qualified)
        for one in effect.rows
    } == before


@pytest.mark.parametrize(
    "changes",
    [
        {"value": {"take": {"best": 2, "must": [{"count": "competitions", "at_least": 2}]}, "aggregate": "sum"}},
        {"score": [{"places": {"1": "6", "*": "1"}, "shared": "mean"}], "rerank": ["competition"]},
        {"after": [{"places": 2}], "decimals": 0},
        {"order": "ascending", "group_by": [], "ties": []},
        {"mode": "qualify", "threshold": "64"},
        {"unit": "pair", "season": {"rolling_months": 1}},
    ],
)
def test_every_way_of_counting_gives_what_the_season_would_become(season, changes):
    draft = qualifying_scheme(**changes)
    effect = effect_of(draft, season)
    scheme = save_version(draft, association=season.association, based_on=1, by=None, reason="decided")
    switch_season(season, to=scheme, instead_of=season.scheme, by=None, reason="decided")
    would = {
        (one.unit, one.after.group): (one.after.placing, one.after.value, one.after.qualified)
        for one in effect.rows
        if one.after
    }
    assert would == {(unit, level or "All"): row for (unit, level), row in stored(season).items()}


def test_the_present_rule_changes_nothing(season):
    effect = effect_of(qualifying_scheme(), season)
    assert effect.of() == ()
    assert effect.unchanged == 12
    assert set(effect.counts.values()) == {0}


def test_changes_are_counted_by_kind_the_gravest_first(season):
    draft = qualifying_scheme(value={"take": {"best": 1}, "aggregate": "mean"}, require=[])
    effect = effect_of(draft, season)
    assert effect.counts["value"] == 12
    assert len(effect.of("place")) == effect.counts["place"] > 0
    assert [one.kinds[0] for one in effect.of()] == sorted(
        (one.kinds[0] for one in effect.of()), key=list(scheme_effects.KINDS).index
    )


def test_other_tables_are_laid_side_by_side_as_far_as_they_go(season):
    effect = effect_of(qualifying_scheme(group_by=[]), season)
    assert effect.comparable
    assert effect.units == (12, 12)
    assert all(one.before and one.after and one.after.group == "All" for one in effect.rows)
    divided = effect_of(qualifying_scheme(group_by=["level", "competition"], require=[]), season)
    assert divided.units == (12, 36)
    assert all(one.before is not None for one in divided.rows)


def test_other_units_cannot_be_compared(season):
    effect = effect_of(qualifying_scheme(unit="rider"), season)
    assert not effect.comparable
    assert len(effect.rows) == 12
    assert names_of_units("rider", effect.rows) == {}
    assert set(effect.counts.values()) == {0}


def test_a_row_opens_to_its_scores_under_the_draft(season):
    draft = qualifying_scheme(
        eligible=[{"field": "percentage", "at_most": "80"}], value={"take": {"best": 1}, "aggregate": "mean"}
    )
    (found,) = unit_under(draft, season, unit="R1/H1")
    outcomes = {one.score.key: one.outcome for one in found.scores}
    assert outcomes["s1-4"] == "not eligible"
    assert sorted(outcomes.values()) == ["counted", "dropped", "dropped", "not eligible"]
    expected = next(one for one in effect_of(draft, season).rows if one.unit == "R1/H1").after
    assert (found.row.placing, found.row.value) == (expected.placing, expected.value)
    nothing = unit_under(qualifying_scheme(eligible=[{"field": "level", "is": "grand"}]), season, unit="R1/H1")
    assert [one.row for one in nothing] == [None]
    assert len(nothing[0].scores) == 4
    assert unit_under(draft, season, unit="nobody") == ()


def test_pairs_are_named(season):
    effect = effect_of(qualifying_scheme(decimals=1), season)
    assert names_of_units("pair", effect.rows[:1])[effect.rows[0].unit].startswith("Rider ")


def test_a_draft_with_problems_has_no_effect_but_sentences(season):
    with pytest.raises(InvalidInput) as refused:
        effect_of(qualifying_scheme(mode="guess", decimals="x"), season)
    assert {"mode", "decimals"} <= set(refused.value.fields)


def test_a_ledger_too_long_to_wait_for_is_refused(season, monkeypatch):
    monkeypatch.setattr(scheme_effects, "MOST_SCORES_EXACTLY", 10)
    assert effect_of(qualifying_scheme(decimals=1), season).scores == 37
    must = {"take": {"best": 2, "must": [{"count": "judges", "at_least": 1}]}, "aggregate": "mean"}
    with pytest.raises(InvalidInput, match="37 scores, more than the 10"):
        effect_of(qualifying_scheme(value=must), season)
    monkeypatch.setattr(scheme_effects, "MOST_SCORES", 10)
    with pytest.raises(InvalidInput, match="37 scores"):
        effect_of(qualifying_scheme(decimals=2), season)


def test_a_new_score_is_seen_at_once(season):
    draft = qualifying_scheme(decimals=1)
    assert effect_of(draft, season).scores == 37
    post(row(2, key="s2-9", competition="show-9", level="novice", percentage="60.000"))
    season.refresh_from_db()
    assert effect_of(draft, season).scores == 38


def test_lifetime_tiers_are_compared_too(season):
    tiers = [{"name": "gold", "require": [{"count": "scores", "at_least": 4}]}]
    draft = {
        "format": "scheme/1",
        "id": "qualifying-average",
        "mode": "achieve",
        "unit": "pair",
        "group_by": ["level"],
        "tiers": tiers,
    }
    effect = effect_of(draft, season)
    assert effect.qualified == (12, 1)
    scheme = save_version(draft, association=season.association, based_on=1, by=None, reason="decided")
    switch_season(season, to=scheme, instead_of=season.scheme, by=None, reason="decided")
    season.refresh_from_db()
    silver = draft | {"tiers": [*tiers, {"name": "silver", "require": [{"count": "scores", "at_least": 3}]}]}
    effect = effect_of(silver, season)
    assert effect.counts == {"falls": 0, "qualifies": 11, "place": 0, "value": 11}
    assert {one.after.tier for one in effect.of("qualifies")} == {"silver"}


class TestDifferences:
    def test_they_are_said_in_sentences(self):
        found = differences(qualifying_scheme(), qualifying_scheme(value={"take": {"best": 3}, "aggregate": "median"}))
        assert [(line.left, line.right) for line in found.lines if not line.same] == [
            ("Of the scores the best 2 count.", "Of the scores the best 3 count."),
            ("The value is the mean of the scores that count.", "The value is the median of the scores that count."),
        ]
        assert found.unsaid == ()

    def test_what_no_sentence_says_is_named_by_its_place(self):
        found = differences(qualifying_scheme(), qualifying_scheme(sources=["minutes of the meeting"]))
        assert (found.count, found.unsaid) == (0, ("sources[0]",))

    def test_a_rule_that_is_not_finished_is_laid_beside_too(self):
        assert differences({}, qualifying_scheme()).count > 0
        assert differences([], None).lines == ()
