from __future__ import annotations

import pytest

from riders.errors import InvalidInput, NotAllowed
from riders.models import Horse, NameDecision, Pair, Rider, Score
from riders.services.direct_imports import import_scores
from riders.services.matching import decide_name, normalised, proposals_for, undo_decision
from riders.services.merges import merge
from riders.services.standings import rebuild_standings
from tests.builders import make_pair, make_season, make_user, qualifying_scheme

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,date,competition,class,percentage,status"
ROW = "s1,P104,O. Brandmair,Quillon,2026-11-01,spring,3,67.500,completed"


def scores(*rows: str) -> str:
    return "\n".join((HEADER, *rows)) + "\n"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ottilie Brandmair", "OTTILIE  BRANDMAIR"),
        ("Zoë Müller-Lind", "zoe muller lind"),
        ("Łucja Øster", "Lucja Oster"),
        ("O'Hara's Pride", "O\N{RIGHT SINGLE QUOTATION MARK}Hara\N{RIGHT SINGLE QUOTATION MARK}s Pride"),
        ("Straße", "STRASSE"),
    ],
)
def test_form_does_not_matter_for_proposing(one: str, other: str):
    assert normalised(one) == normalised(other)
    rider = Rider.objects.create(name=one)
    (proposal,) = proposals_for("rider", [other])[other]
    assert (proposal.id, proposal.same) == (rider.pk, False)


@pytest.mark.parametrize("spelling", ["Otilie Brandmaier", "Brandmair, Ottilie", "O. Brandmair", "Ottilie Brandmeir"])
def test_likeness_proposes(spelling: str):
    rider = Rider.objects.create(name="Ottilie Brandmair")
    Rider.objects.create(name="Cassius Thorne")
    assert [proposal.id for proposal in proposals_for("rider", [spelling])[spelling]] == [rider.pk]


def test_other_names_are_not_proposed():
    Rider.objects.create(name="Ottilie Brandmair")
    assert proposals_for("rider", ["Cassius Thorne", "Una Lind", "", "."]) == {}
    assert proposals_for("horse", ["Ottilie Brandmair"]) == {}


def test_the_same_name_comes_first_and_namesakes_are_told_apart():
    likely = make_pair(1, rider="Ottilie Brandmeir", horse="Marram")
    same = make_pair(2, rider="Ottilie Brandmair", horse="Quillon")
    namesake = Rider.objects.create(name="Ottilie Brandmair")
    found = proposals_for("rider", ["Ottilie Brandmair"])["Ottilie Brandmair"]
    assert [(p.id, p.same, p.registration, p.beside) for p in found] == [
        (same.rider_id, True, "R2", "Quillon"),
        (namesake.pk, True, "", ""),
        (likely.rider_id, False, "R1", "Marram"),
    ]


def test_nobody_is_matched_before_a_person_says_so():
    make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    with pytest.raises(InvalidInput) as refused:
        import_scores(scores(ROW.replace("O. B", "Ottilie B")), by=None, source="north")
    assert [sentence for _, sentence in refused.value.problems] == [
        "Decide who is meant by the rider 'Ottilie Brandmair'.",
        "Decide who is meant by the horse 'Quillon'.",
    ]
    assert (Pair.objects.count(), Score.objects.count()) == (1, 0)


def test_a_decision_holds_for_its_spelling_and_source_only():
    known = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    decide_name(source="north", kind="rider", spelling="O. Brandmair", member=known.rider, by=None)
    decide_name(source="north", kind="horse", spelling="Quillon", member=known.horse, by=None)
    import_scores(scores(ROW), by=None, source="north")
    assert Score.objects.get(key="s1").pair == known
    with pytest.raises(InvalidInput, match="names are like known ones"):
        import_scores(scores(ROW.replace("s1", "s2").replace("P104", "P9")), by=None, source="south")


def test_one_of_the_two_may_be_new():
    known = make_pair(1, rider="Ottilie Brandmair")
    decide_name(source="", kind="rider", spelling="O. Brandmair", member=known.rider, by=None)
    other_horse = ROW.replace("s1", "s2").replace("P104", "P105").replace("Quillon", "Marram")
    import_scores(scores(ROW, other_horse), by=None)
    assert set(known.rider.pairs.values_list("key", flat=True)) == {known.key, "P104", "P105"}
    import_scores(scores(ROW), by=None)
    assert Score.objects.filter(key="s1").count() == 1


def test_two_ids_and_two_spellings_of_one_pair_are_one_pair():
    rider = Rider.objects.create(name="Ottilie Brandmair")
    horse = Horse.objects.create(name="Quillon")
    for spelling in ("O. Brandmair", "Ottilie Brandmair"):
        decide_name(source="", kind="rider", spelling=spelling, member=rider, by=None)
    decide_name(source="", kind="horse", spelling="Quillon", member=horse, by=None)
    import_scores(
        scores(ROW, ROW.replace("s1", "s2").replace("P104", "P9").replace("O. B", "Ottilie B").replace(",3,", ",4,")),
        by=None,
    )
    assert Pair.objects.get().scores.count() == 2


def test_someone_new_is_remembered_as_the_one_who_was_made():
    Rider.objects.create(name="Ottilie Brandmair")
    decision = decide_name(source="", kind="rider", spelling="O. Brandmair", member=None, by=None)
    import_scores(scores(ROW), by=None)
    decision.refresh_from_db()
    assert decision.rider is not None
    assert decision.rider.name == "O. Brandmair"
    import_scores(scores(ROW.replace("s1", "s2").replace("P104", "P105").replace("Quillon", "Marram")), by=None)
    assert decision.rider.pairs.count() == 2


def test_an_undone_decision_is_forgotten_and_the_same_file_corrects():
    user = make_user("keeper")
    wrong = make_pair(1, rider="Ottilie Brandmair")
    decision = decide_name(source="", kind="rider", spelling="O. Brandmair", member=wrong.rider, by=user)
    import_scores(scores(ROW), by=None)
    assert Score.objects.get().pair.rider == wrong.rider
    season = make_season(scheme=qualifying_scheme(require=[], eligible=[]))
    rebuild_standings(season)
    undo_decision(decision, by=user)
    assert season.rows.get().unit == wrong.rider.pairs.exclude(pk=wrong.pk).get().key != "P104"
    decision.refresh_from_db()
    assert (decision.undone_by, decision.rider) == (user, wrong.rider)
    decide_name(source="", kind="rider", spelling="O. Brandmair", member=None, by=user)
    summary = import_scores(scores(ROW), by=None)
    assert (summary.posted, summary.corrected) == (0, 1)
    assert Score.objects.get().pair.rider.name == "O. Brandmair"
    with pytest.raises(NotAllowed):
        undo_decision(decision, by=user)


def test_another_decision_undoes_the_earlier_one():
    one, other = Rider.objects.create(name="A"), Rider.objects.create(name="B")
    first = decide_name(source="", kind="rider", spelling="X", member=one, by=None)
    assert decide_name(source="", kind="rider", spelling="X", member=one, by=None) == first
    decide_name(source="", kind="rider", spelling="X", member=other, by=None)
    assert [d.rider for d in NameDecision.objects.filter(undone_at__isnull=True)] == [other]
    first.refresh_from_db()
    assert first.undone_at is not None


@pytest.mark.parametrize(
    ("kind", "spelling", "source"),
    [("owner", "X", ""), ("rider", "", ""), ("rider", "x" * 121, ""), ("rider", "a\x00", ""), ("rider", "X", "s" * 81)],
)
def test_nonsense_is_refused(kind: str, spelling: str, source: str):
    with pytest.raises(InvalidInput):
        decide_name(source=source, kind=kind, spelling=spelling, member=None, by=None)


def test_a_horse_is_no_rider():
    with pytest.raises(InvalidInput, match="A rider is asked for"):
        decide_name(source="", kind="rider", spelling="X", member=Horse.objects.create(name="X"), by=None)


def test_what_went_in_a_merge_is_still_known_by_its_key_and_name():
    import_scores(scores(ROW), by=None)
    gone = Pair.objects.get()
    kept = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    merge(kept.horse, gone.horse, by=None, reason="one horse")
    merge(kept.rider, gone.rider, by=None, reason="one rider")
    summary = import_scores(scores(ROW, ROW.replace("s1", "s2").replace(",3,", ",4,")), by=None)
    assert (summary.posted, summary.unchanged) == (1, 1)
    assert Pair.objects.get() == kept
    third = Rider.objects.create(name="Ottilie Brandmair-Lind")
    merge(third, Rider.objects.get(pk=kept.rider_id), by=None, reason="married")
    assert import_scores(scores(ROW), by=None).unchanged == 1


def test_a_decision_follows_a_merge():
    one, other = Rider.objects.create(name="A"), Rider.objects.create(name="B")
    decision = decide_name(source="", kind="rider", spelling="X", member=other, by=None)
    merge(one, other, by=None, reason="one rider")
    decision.refresh_from_db()
    assert decision.rider == one
