from __future__ import annotations

import csv
from datetime import date

import pytest

from riders.models import Membership, Score, Season
from riders.selectors.ledger import COLUMNS, scores_csv, scores_in_force, season_ledger
from riders.selectors.seasons import pair_statement, standings_tables
from riders.services.ledger import ScoreRow, post_scores, retract_scores
from riders.services.standing_rows import STORED
from riders.services.standings import rebuild_standings
from scoring import season as season_rules
from tests.builders import make_pair, make_season, make_user

pytestmark = pytest.mark.django_db


def row(n: int = 1, *, key: str = "", competition: str = "", **fields) -> ScoreRow:
    return ScoreRow(
        key=key or f"score-{n}",
        source=Score.Source.IMPORT,
        pair=fields.pop("pair", None) or make_pair(n),
        competition=competition or f"show-{n}",
        **{"date": date(2026, 11, 1), "level": "novice", "percentage": "65.000", "status": "completed"}
        | {"hors_concours": False, "judges": ["Judge Lind"]}
        | fields,
    )


def test_posting_twice_changes_nothing():
    by = make_user()
    first = post_scores([row(1), row(2)], by=by)
    second = post_scores([row(1), row(2)], by=by)
    assert (first.posted, first.corrected, first.unchanged) == (2, 0, 0)
    assert (second.posted, second.corrected, second.unchanged) == (0, 0, 2)
    assert [change.action for change in Score.objects.get(key="score-1").changes.all()] == ["posted"]


def test_another_value_is_a_correction_with_what_stood_before():
    post_scores([row(1)], by=None)
    posted = post_scores([row(1, percentage="66.000", judges=["Judge Lind", "Judge Ahorn"])], by=None, reason="misread")
    score = Score.objects.get()
    assert (posted.corrected, score.percentage, score.judges) == (1, "66.000", ["Judge Lind", "Judge Ahorn"])
    change = score.changes.last()
    assert (change.action, change.reason, change.before["percentage"]) == ("corrected", "misread", "65.000")


def test_a_retracted_score_stays_readable_and_can_be_posted_again():
    post_scores([row(1)], by=None)
    assert retract_scores(["score-1"], by=None, reason="withdrawn") == 1
    assert retract_scores(["score-1", "unknown"], by=None, reason="withdrawn") == 0
    assert not scores_in_force().exists()
    post_scores([row(1)], by=None)
    assert scores_in_force().count() == 1
    assert [change.action for change in Score.objects.get().changes.all()] == ["posted", "retracted", "corrected"]


def test_standings_follow_the_ledger_and_say_why():
    # From two scores at two competitions the mean of the best two: (70 + 66) / 2 = 68, worked out by hand.
    season, pair = make_season(), make_pair(1)
    post_scores(
        [
            row(1, key="a", competition="spring", pair=pair, percentage="70.000"),
            row(1, key="b", competition="autumn", pair=pair, percentage="66.000"),
            row(1, key="c", competition="winter", pair=pair, percentage="61.000"),
            row(1, key="d", competition="hc", pair=pair, percentage="80.000", hors_concours=True),
            row(2, key="e", competition="spring", percentage="75.000"),
        ],
        by=None,
    )
    (table,) = standings_tables(season)
    assert table.group == {"level": "novice"}
    assert [(r.unit, r.placing, r.value, r.qualified) for r in table.rows] == [
        ("R1/H1", 1, "68.000", True),
        ("R2/H2", None, "75.000", False),
    ]
    outcomes = {one.score.key: one.outcome for one in pair_statement(pair, season).scores}
    assert outcomes == {"a": "counted", "b": "counted", "c": "dropped", "d": "not eligible"}
    sentence = next(one.sentence for one in pair_statement(pair, season).scores if one.score.key == "d")
    assert "hors concours" in sentence.lower() or "hors_concours" in sentence


def test_a_pair_none_of_whose_scores_counts_is_told_why():
    season, pair = make_season(), make_pair(1)
    post_scores([row(1, pair=pair, hors_concours=True)], by=None)
    statement = pair_statement(pair, season)
    assert not statement.rows
    (explained,) = statement.scores
    assert explained.outcome == "not eligible"
    assert "posted after" not in explained.sentence


def test_scores_outside_the_season_leave_it_alone():
    season = make_season()
    post_scores([row(1, date=date(2026, 9, 30))], by=None)
    season.refresh_from_db()
    assert season.version == 0


def ledger_of(season: Season) -> tuple[season_rules.Score, ...]:
    return season_ledger(season, season_rules.read_scheme(season.scheme.document)).scores


def test_membership_is_looked_at_on_the_day_of_the_ride():
    season, pair = make_season(), make_pair(1)
    Membership.objects.create(
        association=season.association,
        number="M1",
        kind="person",
        rider=pair.rider,
        starts_on=date(2026, 11, 1),
        ends_on=date(2026, 11, 30),
    )
    days = {
        "before": date(2026, 10, 31),
        "first": date(2026, 11, 1),
        "last": date(2026, 11, 30),
        "after": date(2026, 12, 1),
    }
    post_scores([row(1, key=key, pair=pair, date=day) for key, day in days.items()], by=None)
    members = {score.score_id: score.member for score in ledger_of(season)}
    assert members == {"before": False, "first": True, "last": True, "after": False}


def test_an_association_without_a_list_of_members_believes_the_score():
    season = make_season()
    post_scores([row(1, member=True), row(2)], by=None)
    assert [score.member for score in ledger_of(season)] == [True, None]


def test_the_export_is_a_scores_document_that_the_scoring_core_reads():
    post_scores([row(1, pair=make_pair(1, rider="Žofie Łuk, jr.", horse='Le "Vent"'))], by=None)
    text = "".join(scores_csv(scores_in_force()))
    (record,) = csv.DictReader(text.splitlines())
    assert tuple(record) == COLUMNS
    assert (record["rider"], record["horse"]) == ("Žofie Łuk, jr.", 'Le "Vent"')
    (score,) = season_rules.read_scores(text)
    assert score.score_id == "score-1"


def test_rebuilding_gives_the_same_rows():
    season = make_season()
    post_scores([row(n, percentage=f"{60 + n}.000") for n in range(1, 6)], by=None)
    before = list(season.rows.values(*STORED))
    rebuild_standings(season)
    assert list(season.rows.values(*STORED)) == before


def test_a_closed_season_does_not_move():
    season = make_season(closed_at="2026-11-20T12:00:00Z")
    post_scores([row(1)], by=None)
    assert not season.rows.exists()
