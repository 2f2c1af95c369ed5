from __future__ import annotations

from datetime import date

import pytest

from competitions.services.results import make_official
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import Score
from riders.selectors.histories import score_history
from riders.services.corrections import correct_score, put_back_score, retract_score, version_of
from riders.services.direct_imports import import_scores
from riders.services.merges import merge
from tests.builders import make_class, make_pair, make_season, make_user, mark_sheet, qualifying_scheme

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,level,date,competition,class,judges,percentage,status,hors_concours"
ROW = "s1,P104,Ottilie Brandmair,Quillon,novice,2026-11-01,spring,3,Ann Orde;Bo Rask,67.500,completed,false"


@pytest.fixture
def score() -> Score:
    import_scores(f"{HEADER}\n{ROW}\n", by=None)
    return Score.objects.get()


def test_a_correction_keeps_what_stood_before_by_whom_and_why_and_the_season_follows(score: Score):
    keeper = make_user("keeper", first_name="Ida", last_name="Moss")
    season = make_season(scheme=qualifying_scheme(require=[]))
    correct_score(
        score,
        changes={"percentage": "68.125", "judges": "Ann Orde"},
        expected_version=version_of(score),
        by=keeper,
        reason="typing error",
    )
    assert (score.percentage, score.judges) == ("68.125", ["Ann Orde"])
    assert season.rows.get().value == "68.125"
    latest, first = score_history(score)
    assert (latest.change.action, latest.change.by, latest.change.reason) == ("corrected", keeper, "typing error")
    assert set(latest.differences) == {
        ("judges", "Ann Orde;Bo Rask", "Ann Orde"),
        ("percentage", "67.500", "68.125"),
    }
    assert (first.change.action, first.differences) == ("posted", ())


def test_a_ride_moved_to_another_day_touches_both_seasons(score: Score):
    scheme = qualifying_scheme(require=[], season={"from": "2026-10-01", "to": "2028-09-30"})
    one = make_season(scheme=scheme)
    days = {"starts_on": date(2027, 10, 1), "ends_on": date(2028, 9, 30)}
    other = make_season(one.association, scheme=scheme, slug="2028", **days)
    correct_score(
        score, changes={"date": "2027-11-01"}, expected_version=version_of(score), by=None, reason="wrong year"
    )
    assert not one.rows.exists()
    assert other.rows.get().value == "67.500"


def test_a_retracted_score_counts_no_more_and_can_be_put_back(score: Score):
    season = make_season(scheme=qualifying_scheme(require=[]))
    retract_score(score, expected_version=version_of(score), by=None, reason="wrong test ridden")
    assert score.retracted_at is not None
    assert not season.rows.exists()
    with pytest.raises(NotAllowed, match="retracted already"):
        retract_score(score, expected_version=version_of(score), by=None, reason="again")
    put_back_score(score, expected_version=version_of(score), by=None, reason="it was the right test")
    assert score.retracted_at is None
    assert season.rows.count() == 1
    assert [line.differences for line in score_history(score)][:2] == [
        (("in force", "no", "yes"),),
        (("in force", "yes", "no"),),
    ]
    with pytest.raises(NotAllowed, match="in force already"):
        put_back_score(score, expected_version=version_of(score), by=None, reason="again")


def test_another_pair_is_named_by_its_key(score: Score):
    other = make_pair(5)
    correct_score(score, changes={"pair": other.key}, expected_version=version_of(score), by=None, reason="wrong horse")
    assert score.pair == other
    assert score_history(score)[0].differences == (
        ("pair", "Ottilie Brandmair with Quillon (P104)", "Rider 5 with Horse 5 (R5/H5)"),
    )


def test_the_history_names_a_pair_that_was_merged_since(score: Score):
    gone = score.pair
    correct_score(
        score, changes={"pair": make_pair(5).key}, expected_version=version_of(score), by=None, reason="wrong horse"
    )
    kept = make_pair(6)
    merge(kept.horse, gone.horse, by=None, reason="one horse")
    merge(kept.rider, gone.rider, by=None, reason="one rider")
    assert score_history(score)[0].differences == (("pair", "P104 (merged)", "Rider 5 with Horse 5 (R5/H5)"),)


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"percentage": "101"}, "percentage"),
        ({"percentage": "abc"}, "percentage"),
        ({"date": "1 Nov"}, "date"),
        ({"date": ""}, "date"),
        ({"competition": ""}, "competition"),
        ({"status": "running"}, "status"),
        ({"venue": "v" * 1000}, "venue"),
        ({"team": "a\x00b"}, "team"),
        ({"hors_concours": "maybe"}, "hors_concours"),
        ({"pair": "nobody"}, "pair"),
        ({"placing": "-1"}, "placing"),
        ({"rider": "Una Lind"}, "rider"),
        ({"score_id": "s9"}, "score_id"),
        ({"colour": "bay"}, "colour"),
    ],
)
def test_what_cannot_be_is_told_under_its_field(score: Score, changes: dict[str, str], where: str):
    with pytest.raises(InvalidInput) as refused:
        correct_score(score, changes=changes, expected_version=version_of(score), by=None, reason="a try")
    assert where in refused.value.fields
    score.refresh_from_db()
    assert score.percentage == "67.500"


def test_a_reason_and_a_change_are_owed(score: Score):
    for reason in ("", " ", "x" * 301):
        with pytest.raises(InvalidInput, match="reason"):
            correct_score(
                score, changes={"percentage": "60"}, expected_version=version_of(score), by=None, reason=reason
            )
        with pytest.raises(InvalidInput, match="reason"):
            retract_score(score, expected_version=version_of(score), by=None, reason=reason)
    with pytest.raises(InvalidInput, match="says that already"):
        correct_score(score, changes={"class": "3"}, expected_version=version_of(score), by=None, reason="a try")
    assert score.changes.count() == 1


def test_a_stale_correction_is_refused(score: Score):
    seen = version_of(score)
    correct_score(score, changes={"percentage": "60.000"}, expected_version=seen, by=None, reason="first")
    with pytest.raises(Conflict, match="someone else"):
        correct_score(score, changes={"percentage": "61.000"}, expected_version=seen, by=None, reason="second")
    with pytest.raises(Conflict):
        retract_score(score, expected_version=seen, by=None, reason="second")


def test_scores_of_a_class_run_here_are_corrected_there():
    competition_class = make_class(entries=1)
    mark_sheet(competition_class.entries.get(), mark=70)
    make_official(competition_class, by=None)
    score = Score.objects.get()
    with pytest.raises(NotAllowed, match="Correct it in the class"):
        correct_score(score, changes={"percentage": "60"}, expected_version=version_of(score), by=None, reason="a try")
    with pytest.raises(NotAllowed, match="Correct it in the class"):
        retract_score(score, expected_version=version_of(score), by=None, reason="a try")
