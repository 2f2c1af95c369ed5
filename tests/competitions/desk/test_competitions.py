from __future__ import annotations

import json
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from competitions.models import Competition, CompetitionClass, RuleSet, Test
from competitions.services.imports import import_competition
from tests.builders import make_association, make_rule_set, make_test, make_test_document, mark_sheet, rules_document

pytestmark = pytest.mark.django_db

COMPETITION = {
    "title": "Birchfield Days",
    "slug": "birchfield-days",
    "venue": "Birchfield",
    "organiser": "",
    "starts_on": "2027-05-14",
    "ends_on": "2027-05-16",
    "time_zone": "Europe/Vienna",
    "association": "",
    "state": "planned",
}


@pytest.fixture
def an_office(competition):
    """Make the person who is logged in someone of an office."""
    return competition


def class_fields(**changes: str) -> dict[str, str]:
    found = {
        "number": "4",
        "title": "Elementary",
        "level": "elementary",
        "division": "open",
        "test": "linden-novice-1",
        "rule_set": "house-rules",
        "arena": "A",
        "date": "2026-11-14",
        "starts_at": "09:30",
        "interval": "7:30",
        "seats-TOTAL_FORMS": "7",
        "seats-INITIAL_FORMS": "0",
        "breaks-TOTAL_FORMS": "4",
        "breaks-INITIAL_FORMS": "0",
        "teams-counting": "",
        "teams-method": "sum",
        "teams-of": "percentage",
        "teams-drop_out": "",
    }
    for row in range(7):
        found |= {f"seats-{row}-seat": "", f"seats-{row}-judge": "", f"seats-{row}-parts": ""}
    for row in range(4):
        found |= {f"breaks-{row}-after": "", f"breaks-{row}-minutes": ""}
    found |= {"seats-0-seat": "C", "seats-0-judge": "Ingvild Solstrand", "seats-1-seat": "B"}
    found |= {"breaks-0-after": "8", "breaks-0-minutes": "15"}
    return found | {name.replace("__", "-"): value for name, value in changes.items()}


def test_a_competition_is_set_up_and_its_maker_works_in_its_office(desk, office, an_office):
    response = desk.post(reverse("desk-competition-new"), COMPETITION)
    made = Competition.objects.get(slug="birchfield-days")
    assert response["Location"] == reverse("desk-competition", args=["birchfield-days"])
    assert made.office_roles.get().user == office
    assert made.time_zone == "Europe/Vienna"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"title": ""}, "The title is missing. Enter it."),
        ({"ends_on": "2027-05-13"}, "The last day, 2027-05-13, lies before the first day, 2027-05-14."),
        ({"starts_on": "14th of May"}, "The first day is not a date. Enter it as year-month-day"),
        ({"time_zone": "Europe/Atlantis"}, "&quot;Europe/Atlantis&quot; is not a time zone."),
        ({"slug": "linden-autumn"}, "A competition with the short name &quot;linden-autumn&quot; exists already."),
        ({"slug": "new"}, "The short name &quot;new&quot; is used by the desk itself."),
        ({"slug": "two words"}, "without spaces"),
        ({"recognised": "on"}, "A recognised competition needs its association."),
        ({"title": "x" * 161}, "The title has 161 characters, but at most 160 fit."),
        ({"state": "someday"}, "someday"),
        ({"seat_limit": "five"}, "&quot;five&quot; is not a limit."),
    ],
)
def test_bad_input_is_said_in_a_sentence_and_nothing_typed_is_lost(desk, an_office, changes, sentence):
    response = desk.post(reverse("desk-competition-new"), COMPETITION | {"organiser": "Birchfield Club"} | changes)
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in page
    assert 'value="Birchfield Club"' in page
    assert not Competition.objects.filter(venue="Birchfield").exists()


def test_a_recognised_competition_names_its_association(desk, an_office):
    make_association()
    desk.post(reverse("desk-competition-new"), COMPETITION | {"association": "linden", "recognised": "on"})
    assert Competition.objects.get(slug="birchfield-days").association.slug == "linden"


def test_details_are_changed_once_and_a_second_editor_is_told(desk, competition):
    url = reverse("desk-competition-edit", args=[competition.slug])
    fields = {name: value for name, value in COMPETITION.items() if name != "slug"} | {
        "starts_on": "2026-11-14",
        "ends_on": "2026-11-15",
        "version": str(competition.version),
    }
    assert desk.post(url, fields).status_code == 302
    response = desk.post(url, fields | {"title": "Second thoughts"})
    page = response.content.decode()
    assert response.status_code == 409
    assert "was changed by someone else" in page
    assert 'value="Second thoughts"' in page
    competition.refresh_from_db()
    assert competition.title == "Birchfield Days"
    assert desk.post(url, fields | {"title": "Second thoughts", "version": str(competition.version)}).status_code == 302


def test_a_class_is_set_up_with_its_panel_and_breaks(desk, competition):
    make_test()
    make_rule_set()
    response = desk.post(reverse("desk-class-new", args=[competition.slug]), class_fields())
    made = CompetitionClass.objects.get(number="4")
    assert response["Location"] == reverse("desk-class", args=[competition.slug, "4"])
    assert [(seat.seat, seat.judge.name if seat.judge else "") for seat in made.seats.all()] == [
        ("C", "Ingvild Solstrand"),
        ("B", ""),
    ]
    assert (made.interval_seconds, made.breaks) == (450, [{"after": 8, "minutes": 15}])


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"date": "2026-11-20"}, "2026-11-20 is not a day of this competition"),
        ({"interval": "soon"}, "&quot;soon&quot; is not a time from ride to ride."),
        ({"interval": "0:30"}, "&quot;0:30&quot; is not a time from ride to ride."),
        ({"number": "office"}, "&quot;office&quot; cannot be the number of a class."),
        ({"number": "1/2"}, "&quot;1/2&quot; cannot be the number of a class."),
        ({"number": "1"}, "Class 1 exists already in this competition."),
        ({"test": "nothing"}, "Select a valid choice"),
        ({"seats__1__seat": "C"}, "Seat C stands twice on the panel."),
        ({"seats__0__seat": "", "seats__1__seat": ""}, "Ingvild Solstrand has no seat."),
        ({"seats__0__judge": "", "seats__0__seat": "", "seats__1__seat": ""}, "The panel is empty."),
        ({"seats__0__parts": "artistic"}, "The test has no part artistic."),
        ({"breaks__0__minutes": ""}, "The break after ride 8 has no length."),
        ({"breaks__0__after": ""}, "The break of 15 minutes has no place."),
        ({"breaks__0__after": "none"}, "The after ride must be a whole number from 1 to 500."),
        ({"breaks__1__after": "8", "breaks__1__minutes": "5"}, "Two breaks fall after ride 8."),
        ({"teams__counting": "0"}, "must be a whole number from 1 to 20"),
        ({"teams__drop_out": "none"}, "&quot;none&quot; is not a number."),
        ({"starts_at": "noonish"}, "The first ride at is not a time of day."),
    ],
)
def test_a_class_with_nonsense_is_refused_in_sentences(desk, competition, cls, changes, sentence):
    response = desk.post(reverse("desk-class-new", args=[competition.slug]), class_fields(**changes))
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in page
    assert 'value="Elementary"' in page
    assert CompetitionClass.objects.count() == 1


def test_a_class_with_marks_keeps_its_test_and_says_so(desk, competition, cls):
    mark_sheet(cls.entries.get(number="1"))
    cls.refresh_from_db()
    make_test(id="other-test")
    fields = class_fields(number="1", test="other-test", version=str(cls.version)) | {"seats-INITIAL_FORMS": "2"}
    response = desk.post(reverse("desk-class-edit", args=[competition.slug, "1"]), fields)
    assert "The class has marks already" in response.content.decode()
    fields |= {"test": "linden-novice-1", "title": "Novice, first group"}
    assert desk.post(reverse("desk-class-edit", args=[competition.slug, "1"]), fields).status_code == 302
    cls.refresh_from_db()
    assert cls.title == "Novice, first group"


def test_a_class_gets_and_loses_its_rule_for_teams(desk, competition, cls):
    url = reverse("desk-class-edit", args=[competition.slug, "1"])
    fields = class_fields(number="1") | {"seats-INITIAL_FORMS": "2"}
    teams = {"teams-counting": "3", "teams-method": "mean", "teams-drop_out": "25,0"}
    assert desk.post(url, fields | teams | {"version": str(cls.version)}).status_code == 302
    cls.refresh_from_db()
    assert cls.team_rules == {"counting": 3, "method": "mean", "of": "percentage", "drop_out": "25"}
    assert 'value="25"' in desk.get(url).content.decode()
    page = desk.post(url, fields | teams | {"teams-of": "penalty", "version": str(cls.version)}).content.decode()
    assert "The rule for teams needs correcting." in page
    cls.refresh_from_db()
    assert cls.team_rules["of"] == "percentage"
    assert desk.post(url, fields | {"version": str(cls.version)}).status_code == 302
    cls.refresh_from_db()
    assert cls.team_rules is None


def test_the_class_form_comes_filled_in(desk, competition, cls):
    page = desk.get(reverse("desk-class-edit", args=[competition.slug, "1"])).content.decode()
    for value in ('value="Ingvild Solstrand"', 'value="8"', 'value="09:00"', 'value="2026-11-14"'):
        assert value in page


def test_a_test_and_a_rule_set_are_taken_in_from_file_or_paste(desk, an_office):
    upload = SimpleUploadedFile("test.json", json.dumps(make_test_document()).encode(), "application/json")
    assert desk.post(reverse("desk-documents"), {"file": upload}).status_code == 302
    assert desk.post(reverse("desk-documents"), {"text": json.dumps(rules_document())}).status_code == 302
    assert (Test.objects.get().key, RuleSet.objects.get().key) == ("linden-novice-1", "house-rules")


def test_every_problem_of_a_document_is_listed_by_its_path(desk, an_office):
    document = make_test_document(maximum="99", colour="red")
    document["items"][0]["coefficient"] = "-1"
    response = desk.post(reverse("desk-documents"), {"text": json.dumps(document)})
    page = response.content.decode()
    assert response.status_code == 422
    assert "items[0].coefficient" in page
    assert "colour" in page
    assert "2 problems were found" in page
    assert "&quot;linden-novice-1&quot;" in page  # what was pasted stands in the box
    assert not Test.objects.exists()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Nothing was sent."),
        ("{", "The text is not JSON"),
        ("[]", "names no format known here"),
        ('{"format": "class/1"}', "names no format known here"),
        ('{"format": "test/1", "format": "test/1"}', "stands twice in one object"),
    ],
)
def test_what_is_no_document_is_refused(desk, an_office, text, sentence):
    response = desk.post(reverse("desk-documents"), {"text": text})
    assert response.status_code == 422
    assert sentence in response.content.decode()


def test_bytes_that_are_no_text_are_refused(desk, an_office):
    upload = SimpleUploadedFile("test.json", b'{"title": "\xe4"}', "application/json")
    page = desk.post(reverse("desk-documents"), {"file": upload}).content.decode()
    assert "test.json is not UTF-8 text (byte 12)" in page


def test_a_test_that_classes_use_is_not_replaced(desk, competition, cls):
    page = desk.post(reverse("desk-documents"), {"text": json.dumps(make_test_document(items=5))}).content.decode()
    assert "is used by classes and cannot change under them" in page


def test_a_competition_is_exported_and_imported_again(desk, competition, cls):
    exported = desk.get(reverse("desk-export", args=[competition.slug, "competition"]))
    assert 'filename="linden-autumn.json"' in exported["Content-Disposition"]
    document = json.loads(exported.content) | {"id": "linden-again"}
    response = desk.post(reverse("desk-competition-import"), {"text": json.dumps(document)})
    assert response.status_code == 302
    again = Competition.objects.get(slug="linden-again").classes.get()
    assert [seat.seat for seat in again.seats.all()] == ["C", "B"]


def test_an_imported_competition_with_problems_lists_them_all(desk, competition, cls):
    document = json.loads(desk.get(reverse("desk-export", args=[competition.slug, "competition"])).content)
    document |= {"id": "another", "ends_on": "2026-11-99", "colour": "red"}
    response = desk.post(reverse("desk-competition-import"), {"text": json.dumps(document)})
    page = response.content.decode()
    assert response.status_code == 422
    assert "ends_on" in page
    assert "colour" in page
    assert not Competition.objects.filter(slug="another").exists()


def test_a_reserved_short_name_is_not_imported(desk, competition, cls):
    document = json.loads(desk.get(reverse("desk-export", args=[competition.slug, "competition"])).content)
    page = desk.post(
        reverse("desk-competition-import"), {"text": json.dumps(document | {"id": "new"})}
    ).content.decode()
    assert "used by the desk itself" in page


def test_a_class_is_set_to_be_judged_from_recordings_and_its_history_says_so(desk, competition, cls):
    url = reverse("desk-class-edit", args=[competition.slug, "1"])
    fields = class_fields(number="1", version=str(cls.version)) | {"seats-INITIAL_FORMS": "2"}
    assert desk.post(url, fields | {"from_recordings": "on"}).status_code == 302
    cls.refresh_from_db()
    assert cls.from_recordings
    assert re.search(r'<input[^>]*name="from_recordings"[^>]*checked', desk.get(url).content.decode())
    history = desk.get(reverse("desk-results-history", args=[competition.slug, "1"])).content.decode()
    assert "Judged from recordings" in history
    document = json.loads(desk.get(reverse("desk-export", args=[competition.slug, "competition"])).content)
    assert document["classes"][0]["from_recordings"] is True
    again = {"text": json.dumps(document | {"id": "linden-again"})}
    assert desk.post(reverse("desk-competition-import"), again).status_code == 302
    assert Competition.objects.get(slug="linden-again").classes.get().from_recordings
    del document["classes"][0]["from_recordings"]  # what a file does not say stays
    import_competition(document | {"id": "linden-again"}, by=None)
    assert Competition.objects.get(slug="linden-again").classes.get().from_recordings
