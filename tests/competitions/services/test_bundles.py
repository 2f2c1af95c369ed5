from __future__ import annotations

import io
import json

import pytest
from django.core.management import CommandError, call_command

import scoring
from competitions.models import Judge
from competitions.services.bundles import bundle_document, bundle_text, classes_left_out
from competitions.services.classes import update_competition
from competitions.services.entries import set_outcome
from competitions.services.results import make_official, start_correction, withdraw_results
from competitions.services.team_rules import set_team_rules
from riders.errors import NotAllowed
from scoring.bundles import bundle_digest, verify_bundle
from scoring.checking import check_document
from tests.builders import make_class, make_competition, make_rule_set, mark_sheet

pytestmark = pytest.mark.django_db


def show():
    """Make a competition of three classes: one hides rides hors concours, one has teams, one is not official."""
    competition = make_competition(recognised=True, organiser="Lindenhof")
    judge = Judge.objects.create(name="Doris Fell")
    hidden = make_class(
        competition,
        number="1",
        seats="CB",
        judges={"C": judge},
        entries=3,
        division="open",
        rule_set=make_rule_set(id="hidden", hors_concours="hidden"),
    )
    for entry, mark in zip(hidden.entries.order_by("number"), (60, 70, 65), strict=True):
        mark_sheet(entry, "C", mark=mark, remarks={"1": "A secret remark"}, overall_remarks="Another secret remark")
        mark_sheet(entry, "B", mark=mark)
    set_outcome(hidden.entries.get(number="2"), expected_version=None, by=None, hors_concours=True)
    teams = make_class(competition, number="2", entries=3)
    teams.entries.update(team="Green")
    set_team_rules(teams, {"counting": 2, "method": "sum", "drop_out": "25"}, by=None)
    for entry in teams.entries.all()[:2]:
        mark_sheet(entry, mark=65, typed_total="52")
    last = teams.entries.get(number="3")
    set_outcome(last, expected_version=None, by=None, status="eliminated", reason="lame")
    for found in (hidden, teams):
        found.refresh_from_db()
        make_official(found, by=None)
    make_class(competition, number="3", entries=1)
    return competition


def test_a_bundle_holds_every_official_class_and_verifies():
    competition = show()
    document = bundle_document(competition)
    assert verify_bundle(scoring.load_json(bundle_text(competition))) == []
    assert check_document(document) == (
        "A results bundle, bundle/1, 2 classes; its digest is right. Recompute it with verify."
    )
    assert [claim["class"]["x-number"] for claim in document["classes"]] == ["1", "2"]
    assert [claim["revision"] for claim in document["classes"]] == [1, 1]
    assert document["competition"]["id"] == "linden-autumn"
    assert classes_left_out(competition) == (("3", "Its results are provisional."),)


def test_what_is_changed_afterwards_is_found():
    document = bundle_document(show())
    document["classes"][0]["class"]["entries"][0]["sheets"]["C"]["marks"]["1"] = "9"
    paths = [problem.path for problem in verify_bundle(document)]
    assert paths[0] == "digest"
    assert any(path.endswith("entries[1].total") for path in paths)
    document["digest"] = bundle_digest(document)
    assert "digest" not in [problem.path for problem in verify_bundle(document)]
    assert verify_bundle(document)


def test_names_and_facts_travel_under_keys_of_their_own():
    first = bundle_document(show())["classes"][0]["class"]
    assert [seat["x-judge"] for seat in first["panel"]] == ["Doris Fell", "B"]
    assert {key: first[key] for key in first if key.startswith("x-")} == {
        "x-number": "1",
        "x-date": "2026-11-14",
        "x-level": "novice",
        "x-division": "open",
        "x-venue": "Lindenhof",
        "x-recognised": True,
    }
    entry = next(row for row in first["entries"] if row["number"] == "1")
    assert {key: entry[key] for key in entry if key.startswith("x-")} == {
        "x-pair": "R1/H1",
        "x-rider": "Rider 1",
        "x-rider-registration": "R1",
        "x-horse": "Horse 1",
        "x-horse-registration": "H1",
        "x-horse-born": 2015,
        "x-horse-age": 11,
        "x-owner": "Owner 1",
    }


def test_neither_remarks_nor_contact_data_travel():
    text = bundle_text(show())
    for private in ("secret remark", "example.org", "typed_total", "signed"):
        assert private not in text


def test_facts_are_those_of_the_day_of_publication():
    competition = show()
    competition.refresh_from_db()
    update_competition(competition, expected_version=competition.version, by=None, recognised=False, venue="Elsewhere")
    competition.refresh_from_db()
    document = bundle_document(competition)
    assert document["competition"]["venue"] == "Elsewhere"
    assert (document["classes"][0]["class"]["x-venue"], document["classes"][0]["class"]["x-recognised"]) == (
        "Lindenhof",
        True,
    )


def test_hidden_rides_hors_concours_are_not_in_the_results_but_in_what_they_come_from():
    claim = bundle_document(show())["classes"][0]
    assert [row["number"] for row in claim["results"]["entries"]] == ["3", "1"]
    assert len(claim["class"]["entries"]) == 3


def test_classes_under_correction_and_withdrawn_ones_are_left_out():
    competition = show()
    first, second = competition.classes.order_by("number")[:2]
    start_correction(first, by=None, reason="a mark was read wrongly")
    withdraw_results(second, by=None, reason="wrong test")
    assert classes_left_out(competition) == (
        ("1", "Its results are being corrected."),
        ("2", "Its results are withdrawn."),
        ("3", "Its results are provisional."),
    )
    with pytest.raises(NotAllowed, match="nothing to hand on"):
        bundle_document(competition)
    make_official(first, by=None)
    assert [claim["revision"] for claim in bundle_document(competition)["classes"]] == [2]


def test_the_command_writes_the_file_and_says_what_is_left_out(tmp_path):
    show()
    said, path = io.StringIO(), tmp_path / "bundle.json"
    call_command("export_bundle", "linden-autumn", output=str(path), stderr=said)
    assert verify_bundle(scoring.load_json(path.read_bytes())) == []
    assert said.getvalue() == "Class 3 is left out. Its results are provisional.\n"
    out = io.StringIO()
    call_command("export_bundle", "linden-autumn", stdout=out, stderr=io.StringIO())
    assert json.loads(out.getvalue()) == json.loads(path.read_text())
    make_competition("empty")
    with pytest.raises(CommandError, match="nothing to hand on"):
        call_command("export_bundle", "empty")
    with pytest.raises(CommandError, match="There is no competition"):
        call_command("export_bundle", "nowhere")
