from __future__ import annotations

import json

import pytest

from riders.errors import InvalidInput
from riders.models import Horse, NameDecision, Pair, Rider, Score, ScoreChange
from riders.selectors.ledger import scores_csv, scores_in_force
from riders.services.direct_imports import import_scores
from riders.services.matching import decide_name
from tests.builders import make_pair, make_season

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,level,date,competition,class,judges,percentage,status,hors_concours,member"
GOOD = "s1,P104,Ottilie Brandmair,Quillon,novice,2026-11-01,spring,3,Ann Orde;Bo Rask,67.500,completed,false,true"


def scores(*rows: str) -> str:
    return "\n".join((HEADER, *rows)) + "\n"


def counts(text: str | bytes) -> tuple[int, int, int]:
    summary = import_scores(text, by=None)
    return summary.posted, summary.corrected, summary.unchanged


def test_a_ledger_is_posted_once():
    assert counts(scores(GOOD)) == (1, 0, 0)
    assert counts(scores(GOOD)) == (0, 0, 1)
    score = Score.objects.get()
    assert (score.percentage, score.judges, score.highest_of_level) == ("67.500", ["Ann Orde", "Bo Rask"], None)
    assert ScoreChange.objects.count() == 1


def test_other_values_are_corrected_and_the_old_ones_kept():
    import_scores(scores(GOOD), by=None)
    assert counts(scores(GOOD.replace("67.500", "68.000"))) == (0, 1, 0)
    assert ScoreChange.objects.get(action="corrected").before["percentage"] == "67.500"


def test_json_lines_hold_the_same():
    row = dict(zip(HEADER.split(","), GOOD.split(","), strict=True)) | {"hors_concours": False, "member": True}
    import_scores(json.dumps(row) + "\n\n", by=None)
    assert counts(scores(GOOD)) == (0, 0, 1)


def test_the_ledger_as_exported_imports_into_an_empty_database_as_it_was():
    import_scores(scores(GOOD, GOOD.replace("s1", "s2").replace("P104", "P105").replace("Quillon", "Marram")), by=None)
    before = "".join(scores_csv(scores_in_force().order_by("key")))
    for model in (NameDecision, ScoreChange, Score, Pair, Rider, Horse):
        model.objects.all().delete()
    assert counts(before) == (2, 0, 0)
    assert "".join(scores_csv(scores_in_force().order_by("key"))) == before


def test_standings_of_the_season_follow():
    season = make_season()
    import_scores(scores(GOOD, GOOD.replace("s1", "s2").replace("spring", "autumn")), by=None)
    season.refresh_from_db()
    assert season.version >= 1
    assert season.rows.get().value == "67.500"


def test_a_pair_is_known_by_its_registrations_or_its_key():
    pair = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    import_scores(scores(GOOD.replace("P104", "R1-H1"), GOOD.replace("s1", "s2").replace("P104", pair.key)), by=None)
    assert {score.pair for score in Score.objects.all()} == {pair}


def test_a_new_pair_of_registered_people_is_theirs():
    rider = Rider.objects.create(name="Ottilie Brandmair", registration="R-7")
    horse = Horse.objects.create(name="Quillon", registration="H-1")
    import_scores(scores(GOOD.replace("P104", "R-7-H-1")), by=None)
    assert Pair.objects.get(rider=rider, horse=horse).scores.count() == 1


def test_one_rider_with_two_horses_in_a_file_is_one_rider_and_never_a_rider_of_another_file_unasked():
    other = Rider.objects.create(name="Ottilie Brandmair")
    file = scores(GOOD, GOOD.replace("s1", "s2").replace("P104", "P105").replace("Quillon", "Marram"))
    with pytest.raises(InvalidInput, match="1 name is like known ones") as refused:
        import_scores(file, by=None)
    assert refused.value.code == "names-open"
    assert not Score.objects.exists()
    decide_name(source="", kind="rider", spelling="Ottilie Brandmair", member=None, by=None)
    import_scores(file, by=None)
    assert Rider.objects.exclude(pk=other.pk).get().pairs.count() == 2
    assert other.pairs.count() == 0


@pytest.mark.parametrize(
    ("row", "where"),
    [
        (GOOD.replace("s1,", ",", 1), "row 3, score_id"),
        (GOOD.replace("s1,", f"{'s' * 121},", 1), "row 3, score_id"),
        (GOOD.replace("P104", ""), "row 3, pair"),
        (GOOD.replace("2026-11-01", "1 Nov 2026"), "row 3, date"),
        (GOOD.replace("67.500", "101"), "row 3, percentage"),
        (GOOD.replace("67.500", "=A1"), "row 3, percentage"),
        (GOOD.replace("completed", "running"), "row 3, status"),
        (GOOD.replace("false", "no"), "row 3, hors_concours"),
        (GOOD.replace("Quillon", "Qui\x00llon"), "row 3, horse"),
        (GOOD.replace("Ann Orde;Bo Rask", "Ann Orde;Ann Orde"), "row 3, judges"),
        (GOOD + ",x", "row 3"),
        (GOOD.replace("s1", "s0"), "row 3, score_id"),
        (GOOD.replace("P104", "known"), "row 3, rider"),
    ],
)
def test_one_bad_row_refuses_the_file_and_is_named(row, where):
    Pair.objects.create(key="known", rider=Rider.objects.create(name="X"), horse=Horse.objects.create(name="Quillon"))
    with pytest.raises(InvalidInput) as refused:
        import_scores(scores(GOOD.replace("s1", "s0"), row), by=None)
    assert where in [place for place, _ in refused.value.problems]
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    assert not Score.objects.exists()


def test_two_ids_for_one_pair_of_names_are_told_apart_or_refused():
    with pytest.raises(InvalidInput) as refused:
        import_scores(scores(GOOD, GOOD.replace("s1", "s2").replace("P104", "P105")), by=None)
    assert refused.value.problems[0][0] == "row 3, pair"


def test_a_bad_line_of_json_is_named():
    with pytest.raises(InvalidInput) as refused:
        import_scores('{"score_id": "s1",\n[1]\n', by=None)
    assert [where for where, _ in refused.value.problems] == ["row 1", "row 2"]
