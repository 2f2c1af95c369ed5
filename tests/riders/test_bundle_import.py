from __future__ import annotations

import copy
import io
import json
from datetime import date

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from competitions.models import Competition, Judge, PublishedResults, Sheet, SheetRevision
from competitions.services.bundles import bundle_document, bundle_text
from competitions.services.entries import set_outcome
from competitions.services.results import make_official, start_correction, withdraw_results
from riders.errors import InvalidInput
from riders.models import Association, Horse, Membership, Owner, Pair, Rider, Score, ScoreChange, StandingTable
from riders.selectors.ledger import score_record
from riders.services.direct_imports import import_bundle
from riders.services.matching import decide_name
from scoring.bundles import bundle_digest
from tests.builders import (
    make_association,
    make_class,
    make_competition,
    make_rule_set,
    make_season,
    make_user,
    mark_sheet,
    qualifying_scheme,
)

pytestmark = pytest.mark.django_db


def show(marks=(60, 70, 65)):
    """Run a class whose rule set hides rides hors concours, with one of them, one team and an elimination."""
    competition = make_competition(recognised=True)
    judge = Judge.objects.create(name="Doris Fell")
    rules = make_rule_set(id="hidden", hors_concours="hidden")
    found = make_class(
        competition, seats="CB", judges={"C": judge}, entries=len(marks) + 1, division="open", rule_set=rules
    )
    found.entries.filter(number="1").update(team="Green")
    for entry, mark in zip(found.entries.order_by("pk"), marks, strict=False):
        mark_sheet(entry, "C", mark=mark)
        mark_sheet(entry, "B", mark=mark)
    set_outcome(found.entries.get(number="2"), expected_version=None, by=None, hors_concours=True)
    last = found.entries.get(number=str(len(marks) + 1))
    set_outcome(last, expected_version=None, by=None, status="eliminated", reason="lame")
    found.refresh_from_db()
    make_official(found, by=None)
    return competition


def forget_everything():
    """Empty the tables, so that what comes next happens in another association's database."""
    for model in (ScoreChange, Score, StandingTable, PublishedResults, SheetRevision, Sheet, Competition, Pair):
        model.objects.all().delete()
    for model in (Rider, Horse, Owner, Judge):
        model.objects.all().delete()


def records():
    return [score_record(score) for score in Score.objects.select_related("pair__rider", "pair__horse").order_by("key")]


def sealed(document):
    return document | {"digest": bundle_digest(document)}


def test_elsewhere_the_bundle_posts_the_very_scores_of_the_show():
    text = bundle_text(show())
    here = records()
    assert len(here) == 4
    forget_everything()
    keeper = make_user("keeper")
    association = make_association(keeper=keeper)
    done = import_bundle(text.encode(), association=association, by=keeper)
    assert (done.posted, done.corrected, done.unchanged, done.retracted) == (4, 0, 0, 0)
    assert records() == here
    assert {score.source for score in Score.objects.all()} == {"import"}
    assert Pair.objects.get(key="R1/H1").horse.owner.name == "Owner 1"
    assert Pair.objects.get(key="R1/H1").horse.born == 2015
    assert set(ScoreChange.objects.values_list("action", "by__username", "reason")) == {
        ("posted", "keeper", "results bundle of Linden Autumn Days")
    }
    assert str(done) == (
        "Linden Autumn Days: 1 class recomputed and found right; 4 scores posted, 0 corrected, 0 unchanged, "
        "0 retracted."
    )


def test_twice_changes_nothing():
    document = bundle_document(show())
    forget_everything()
    association = make_association()
    import_bundle(document, association=association, by=None)
    changes, pairs = ScoreChange.objects.count(), Pair.objects.count()
    done = import_bundle(copy.deepcopy(document), association=association, by=None)
    assert (done.posted, done.corrected, done.unchanged, done.retracted) == (0, 0, 4, 0)
    assert (ScoreChange.objects.count(), Pair.objects.count()) == (changes, pairs)


def test_a_show_that_was_run_here_and_its_bundle_are_the_same_scores():
    document = bundle_document(show())
    before = records()
    done = import_bundle(document, association=make_association(), by=None)
    assert (done.posted, done.corrected, done.unchanged) == (0, 0, 4)
    assert records() == before
    assert {score.source for score in Score.objects.all()} == {"class"}
    assert not ScoreChange.objects.exclude(action="posted").exists()


def test_a_class_that_was_run_here_is_never_changed_from_outside():
    competition = show()
    old = bundle_document(competition)
    found = competition.classes.get()
    start_correction(found, by=None, reason="a mark was read wrongly")
    for seat in "CB":
        mark_sheet(found.entries.get(number="1"), seat, mark=90)
    found.refresh_from_db()
    make_official(found, by=None)
    before = records()
    with pytest.raises(InvalidInput) as refused:
        import_bundle(old, association=make_association(), by=None)
    assert dict(refused.value.problems)["linden-autumn/1/1"] == (
        "The class was run here and says otherwise (percentage, collectives, placing). Correct it in the class."
    )
    assert records() == before


def test_withdrawn_results_do_not_come_back_by_an_old_bundle():
    competition = show()
    old = bundle_document(competition)
    withdraw_results(competition.classes.get(), by=None, reason="wrong test")
    with pytest.raises(InvalidInput) as refused:
        import_bundle(old, association=make_association("other"), by=None)
    assert all("withdrawn" in sentence for _, sentence in refused.value.problems)
    assert not Score.objects.filter(retracted_at__isnull=True).exists()


def test_a_corrected_bundle_corrects_and_retracts_rides_that_are_gone():
    competition = show()
    first = bundle_document(competition)
    found = competition.classes.get()
    start_correction(found, by=None, reason="a mark was read wrongly")
    for seat in "CB":
        mark_sheet(found.entries.get(number="1"), seat, mark=90)
    found.refresh_from_db()
    make_official(found, by=None)
    second = bundle_document(competition)
    gone = copy.deepcopy(second)
    claim = gone["classes"][0]
    for rows in (claim["class"]["entries"], claim["results"]["entries"]):
        rows[:] = [row for row in rows if row["number"] != "4"]
    forget_everything()
    association = make_association()
    import_bundle(first, association=association, by=None)
    done = import_bundle(second, association=association, by=None, reason="corrected by the show office")
    assert (done.posted, done.corrected, done.unchanged, done.retracted) == (0, 2, 2, 0)
    assert Score.objects.get(key="linden-autumn/1/1").percentage == "90.000"
    done = import_bundle(sealed(gone), association=association, by=None)
    assert (done.corrected, done.retracted) == (3, 1)
    assert Score.objects.get(key="linden-autumn/1/4").retracted_at is not None
    assert "corrected by the show office" in ScoreChange.objects.values_list("reason", flat=True)


def test_any_difference_refuses_the_whole_bundle_with_all_of_them_listed():
    document = bundle_document(show())
    forget_everything()
    document["classes"][0]["results"]["entries"][0]["total"] = "99.000"
    document["classes"][0]["results"]["entries"][0]["placing"] = 2
    with pytest.raises(InvalidInput) as refused:
        import_bundle(document, association=make_association(), by=None)
    assert refused.value.code == "bundle-differs"
    assert {path for path, _ in refused.value.problems} == {
        "digest",
        "classes[0].results.entries[0].total",
        "classes[0].results.entries[0].placing",
    }
    assert not Score.objects.exists()
    assert not Rider.objects.exists()


@pytest.mark.parametrize("content", [b"", b"{", b'{"format": "class/1"}', b"[]", "\ufefftext", 7])
def test_what_is_no_bundle_is_refused_in_words(content):
    with pytest.raises(InvalidInput, match="The bundle cannot be used") as refused:
        import_bundle(content, association=make_association(), by=None)
    assert refused.value.problems


@pytest.mark.parametrize(
    ("change", "path", "says"),
    [
        (lambda show, _: show.update(id="Linden Autumn"), "competition.id", "cannot stand in an address"),
        (lambda show, _: show.pop("title"), "competition.title", "missing"),
        (lambda _, one: one.update({"id": "other/1"}), "classes[0].class.id", "would be linden-autumn/1"),
        (lambda _, one: one.pop("x-number"), "classes[0].class.x-number", "missing"),
        (lambda _, one: one.update({"x-date": "14.11.2026"}), "classes[0].class.x-date", "not a day"),
        (lambda _, one: one.update({"x-level": "x" * 61}), "classes[0].class.x-level", "at most 60"),
        (lambda _, one: one.update({"x-venue": "a\x07b"}), "classes[0].class.x-venue", "control character"),
        (lambda _, one: one["panel"][0].update({"x-judge": 5}), "classes[0].class.panel[0].x-judge", "Give a text"),
        (lambda _, one: one["entries"][0].pop("x-rider"), "classes[0].class.entries[0].x-rider", "missing"),
        (
            lambda _, one: one["entries"][0].update({"x-horse-born": 2030}),
            "classes[0].class.entries[0].x-horse-born",
            "after the ride",
        ),
        (
            lambda _, one: one["entries"][0].update({"team": "x" * 81}),
            "classes[0].class.entries[0].team",
            "at most 80",
        ),
    ],
)
def test_facts_that_a_ledger_cannot_keep_are_named_where_they_stand(change, path, says):
    document = bundle_document(show())
    forget_everything()
    change(document["competition"], document["classes"][0]["class"])
    if path.endswith("class.id"):
        document["classes"][0]["results"]["class"] = "other/1"
    with pytest.raises(InvalidInput) as refused:
        import_bundle(sealed(document), association=make_association(), by=None)
    where, sentence = refused.value.problems[0]
    assert (where, says in sentence) == (path, True)
    assert not Score.objects.exists()


def test_people_are_found_by_registration_and_never_merged_by_name():
    document = bundle_document(show())
    entries = document["classes"][0]["class"]["entries"]
    for row in entries:
        if row["number"] != "1":
            row.update({"x-rider-registration": "", "x-horse-registration": "", "x-pair": f"pair-{row['number']}"})
    forget_everything()
    known = Rider.objects.create(name="Rider 1", registration="R1")
    Rider.objects.create(name="Rider 2")
    with pytest.raises(InvalidInput, match="3 names are like known ones") as refused:
        import_bundle(sealed(document), association=make_association(), by=None)
    assert refused.value.code == "names-open"
    assert not Score.objects.exists()
    for number in (2, 3, 4):
        decide_name(source="", kind="rider", spelling=f"Rider {number}", member=None, by=None)
    import_bundle(sealed(document), association=Association.objects.get(), by=None)
    assert Pair.objects.get(key="R1/H1").rider == known
    assert Rider.objects.filter(name="Rider 2").count() == 2
    import_bundle(sealed(document), association=make_association("other"), by=None)
    assert Rider.objects.filter(name="Rider 2").count() == 2


def test_a_registration_of_someone_else_is_a_problem_and_nothing_is_written():
    document = bundle_document(show())
    forget_everything()
    Rider.objects.create(name="Another Rider", registration="R1")
    Horse.objects.create(name="Horse 3", registration="H3", born=2011)
    with pytest.raises(InvalidInput) as refused:
        import_bundle(document, association=make_association(), by=None)
    assert {path.rpartition(".")[2]: sentence for path, sentence in refused.value.problems} == {
        "x-rider": 'Registration R1 belongs to the rider "Another Rider", but here stands "Rider 1". Correct the name '
        "or the registration.",
        "x-horse-born": 'The horse "Horse 3" is known as born in 2011, but here stands 2015. Correct the year, or the '
        "registration if this is another horse.",
    }
    assert (Score.objects.count(), Rider.objects.count(), Pair.objects.count()) == (0, 1, 0)


def test_a_known_pair_under_other_names_is_a_problem():
    document = bundle_document(show())
    pair = Pair.objects.get(key="R1/H1")
    ScoreChange.objects.all().delete()
    Score.objects.all().delete()
    pair.rider.registration = "R77"
    pair.rider.save()
    pair.horse.name = "Another Horse"
    pair.horse.save()
    with pytest.raises(InvalidInput) as refused:
        import_bundle(document, association=make_association(), by=None)
    assert [path.rpartition(".")[2] for path, _ in refused.value.problems] == ["x-rider-registration", "x-horse"]


def test_rides_of_members_are_counted_on_the_day():
    document = bundle_document(show())
    forget_everything()
    association = make_association()
    rider = Rider.objects.create(name="Rider 1", registration="R1")
    late = Rider.objects.create(name="Rider 2", registration="R2")
    for number, (member, start) in enumerate(((rider, date(2026, 1, 1)), (late, date(2026, 11, 15)))):
        Membership.objects.create(
            association=association, number=str(number), kind="person", rider=member, starts_on=start
        )
    done = import_bundle(document, association=association, by=None)
    assert done.by_members == 1
    assert str(done).endswith("1 of 4 rides are by members of Linden Dressage Association.")


def test_standings_follow():
    document = bundle_document(show())
    forget_everything()
    association = make_association()
    season = make_season(association, scheme=qualifying_scheme(require=[]))
    import_bundle(document, association=association, by=None)
    assert [(row.unit, row.value) for row in season.rows] == [
        ("R3/H3", "65.000"),
        ("R1/H1", "60.000"),
    ]


def test_the_command_imports_or_says_what_is_wrong(tmp_path):
    path = tmp_path / "bundle.json"
    path.write_text(bundle_text(show()))
    forget_everything()
    make_association()
    out = io.StringIO()
    call_command("import_bundle", "linden", str(path), stdout=out)
    assert "4 scores posted" in out.getvalue()
    broken = json.loads(path.read_text())
    broken["classes"][0]["revision"] = 9
    path.write_text(json.dumps(broken))
    with pytest.raises(CommandError, match="digest: "):
        call_command("import_bundle", "linden", str(path))
    with pytest.raises(CommandError, match="There are: linden"):
        call_command("import_bundle", "nowhere", str(path))


def test_a_bundle_costs_about_the_same_queries_for_few_and_for_many(django_assert_max_num_queries):
    turn = connection.vendor == "postgresql"  # the statement that waits for the turn at the ledger
    document = bundle_document(show((65,) * 12))
    forget_everything()
    association = make_association()
    import_bundle(document, association=association, by=None)
    with django_assert_max_num_queries(14 + turn):
        assert import_bundle(document, association=association, by=None).unchanged == 13
