from __future__ import annotations

import re
from html import unescape

import pytest
from django.urls import reverse

from competitions.models import Championship, ChampionshipChange
from competitions.services.championships import update_championship
from competitions.services.results import make_official
from tests.builders import make_championship, make_class, make_pair, mark_sheet

pytestmark = pytest.mark.django_db

NEW = reverse("desk-championship-new", args=["linden-autumn"])
HOME = reverse("desk-competition", args=["linden-autumn"])


@pytest.fixture
def classes(competition):
    found = [make_class(competition, number=number, title=f"Test {number}", entries=3) for number in ("1", "2", "3")]
    for one in found[:2]:
        for entry in one.entries.all():
            mark_sheet(entry, mark=60 + 5 * int(entry.number))
    return found


@pytest.fixture
def championship(competition, classes) -> Championship:
    rules = {
        "method": "total",
        "of": "total",
        "counting": 1,
        "decimals": 2,
        "drop_out": "40",
        "ties": [{"by": "part", "class": 2, "part": "artistic"}, {"by": "mean", "classes": [1, 2]}],
        "tie_places": 3,
        "sources": ["the schedule", "article 4"],
        "teams": {
            "from": "units",
            "method": "mean",
            "counting": 2,
            "members": {make_pair(n).key: "Green" for n in (1, 2)},
        },
        "x-note": "kept as it is",
    }
    return make_championship(competition, classes=classes[:2], rules=rules)


def typed(**changes: str) -> dict[str, str]:
    """Return the form of a mean over classes 1 and 2."""
    found = {
        "title": "Small tour",
        "slug": "small-tour",
        "unit": "pair",
        "method": "mean",
        "of": "total",
        "decimals": "3",
        "rounding": "half-up",
        "classes-0-number": "1",
        "classes-1-number": "2",
        "do": "save",
    }
    for prefix, count in (("classes", 4), ("ties", 5), ("team-ties", 3)):
        found |= {f"{prefix}-TOTAL_FORMS": str(count), f"{prefix}-INITIAL_FORMS": "0"}
    return found | {name.replace("__", "-"): value for name, value in changes.items()}


def page(response) -> str:
    return " ".join(unescape(response.content.decode()).split())


def shown(response) -> str:
    return re.search(r'name="shown" value="(\w*)"', response.content.decode())[1]


def save(desk, address: str, fields: dict[str, str]):
    """Look at the rule first, then save it."""
    looked = desk.post(address, fields)
    assert looked.status_code == 200, page(looked)
    return desk.post(address, fields | {"shown": shown(looked)})


def form_of(response) -> dict[str, str]:
    """Return what a browser would send back from a page without changing anything."""
    form = response.context["typed"]
    found = {name: form.form[name].value() for name in form.form.fields}
    for rows in (form.classes, form.ties, form.team_ties):
        found |= {rows.management_form.add_prefix(name): value for name, value in rows.management_form.initial.items()}
        found |= {row.add_prefix(name): row[name].value() for row in rows.forms for name in row.fields}
    found = {name: "" if value is None else str(value) for name, value in found.items()}
    return found | {"do": "save", "version": str(response.context["championship"].version), "shown": shown(response)}


def test_the_rule_is_told_before_it_is_saved_and_nothing_is_saved_unseen(desk, classes):
    first = desk.post(NEW, typed())
    assert "The mean of the total in Class 1 and Class 2 decides, to 3 decimals" in page(first)
    assert "Not saved yet." in page(first)
    assert not Championship.objects.exists()
    other = desk.post(NEW, typed(method="total", shown=shown(first)))
    assert "The sum of the total in Class 1 and Class 2 decides" in page(other)
    assert not Championship.objects.exists()
    saved = desk.post(NEW, typed(method="total", shown=shown(other)))
    assert saved["Location"] == HOME
    found = Championship.objects.get()
    assert (found.slug, found.document["method"]) == ("small-tour", "total")
    assert [part.competition_class.number for part in found.parts.all()] == ["1", "2"]
    assert ChampionshipChange.objects.get().by.username == "office"


def test_looking_saves_nothing_however_often(desk, classes):
    fields = typed(do="look")
    looked = desk.post(NEW, fields)
    desk.post(NEW, fields | {"shown": shown(looked)})
    assert not Championship.objects.exists()


def test_a_rule_with_everything_is_typed_in(desk, classes):
    fields = typed(
        classes__2__number="3",
        of="total",
        counting="2",
        drop_out="40,5",
        tie_places="3",
        sources="the schedule\n\narticle 4",
        ties__0__by="part",
        ties__0__where="2",
        ties__0__what="artistic",
        ties__1__by="mean",
        ties__1__where="1, 3",
        ties__2__by="best-class",
        teams_from="classes",
        teams_method="sum",
        teams_of="value",
        teams_counting="2",
        why="as in the schedule",
    ) | {"team-ties-0-by": "placing", "team-ties-0-where": "3"}
    assert save(desk, NEW, fields)["Location"] == HOME
    found = Championship.objects.get()
    assert {key: value for key, value in found.document.items() if key not in {"format", "id", "title"}} == {
        "method": "mean",
        "counting": 2,
        "decimals": 3,
        "drop_out": "40.5",
        "tie_places": 3,
        "sources": ["the schedule", "article 4"],
        "ties": [
            {"by": "part", "class": 2, "part": "artistic"},
            {"by": "mean", "classes": [1, 3]},
            {"by": "best-class"},
        ],
        "teams": {
            "from": "classes",
            "method": "sum",
            "of": "value",
            "counting": 2,
            "ties": [{"by": "placing", "class": 3}],
        },
    }
    assert ChampionshipChange.objects.get().reason == "as in the schedule"


def test_members_are_those_of_the_entries_or_as_written(desk, classes):
    classes[0].entries.filter(number__in=["1", "2"]).update(team="Green")
    of_members = {"teams_from": "units", "teams_method": "mean", "teams_counting": "2", "teams_drop_out": "25"}
    save(desk, NEW, typed(**of_members))
    teams = Championship.objects.get().document["teams"]
    assert teams["members"] == {"R1/H1": "Green", "R2/H2": "Green"}
    assert (teams["drop_out"], teams["counting"]) == ("25", 2)
    lines = "Blue: rider 3 with horse 3\nBlue: R1/H1"
    save(desk, NEW, typed(**of_members, slug="second", members=lines))
    written = Championship.objects.get(slug="second").document["teams"]["members"]
    assert written == {"R3/H3": "Blue", "R1/H1": "Blue"}


def test_a_rider_in_two_teams_has_to_be_decided_on(desk, classes):
    for found, team in zip(classes[:2], ("Green", "Blue"), strict=True):
        found.entries.filter(number="1").update(team=team)
    response = desk.post(NEW, typed(teams_from="units", teams_method="sum"))
    assert response.status_code == 422
    assert "Rider 1 with Horse 1 rides for" in page(response)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"title": ""}, "The title is missing. Enter it."),
        ({"slug": "small tour"}, "letters, digits, hyphens"),
        ({"decimals": "12"}, "The decimals must be a whole number from 0 to 9, but 12 was entered."),
        ({"drop_out": "many"}, '"many" is not a number.'),
        ({"ties__0__by": "total"}, "Say in which class this step looks, by its number."),
        ({"ties__0__by": "total", "ties__0__where": "9"}, "Class 9 is none of the classes above."),
        ({"ties__0__by": "total", "ties__0__where": "1, 2"}, "This step looks at one class."),
        ({"ties__0__by": "part", "ties__0__where": "1"}, "Name the part, such as artistic."),
        ({"ties__0__where": "1"}, "This line says where, but not by what."),
        ({"ties__0__by": "best-class", "ties__0__where": "1"}, "This step looks at every class."),
        ({"counting": "3"}, "counting"),
        ({"method": "last-class-decides", "drop_out": "40"}, "The last class decides alone"),
        ({"teams_from": "units", "members": "Green Rider 1"}, '"Green Rider 1" is not a member.'),
        ({"teams_from": "units", "members": "Green: Nobody"}, '"Nobody" rides in none of these classes.'),
    ],
)
def test_what_is_wrong_is_said_and_everything_typed_stays(desk, classes, changes, sentence):
    fields = typed(why="as in the schedule", sources="article 4") | typed(**changes)
    response = desk.post(NEW, fields | {"why": "as in the schedule", "sources": "article 4"})
    assert response.status_code == 422
    text = page(response)
    assert sentence in text
    assert 'value="as in the schedule"' in text
    assert "article 4" in text
    for name, value in changes.items():
        assert value in text, name
    assert not Championship.objects.exists()


def test_what_the_service_refuses_stands_beside_its_field(desk, classes, championship):
    fields = typed() | {"classes-1-number": "1"}
    response = save(desk, NEW, fields)
    assert response.status_code == 422
    assert "Class 1 stands twice. Name it once." in page(response)
    assert 'has a championship "small-tour" already' in page(response)
    one = save(desk, NEW, typed(slug="other") | {"classes-1-number": ""})
    assert "A championship has 2 to 20 classes; 1 are given." in page(one)


def test_a_rule_that_is_kept_comes_back_from_the_form_as_it_was(desk, championship):
    address = reverse("desk-championship", args=["linden-autumn", "small-tour"])
    opened = desk.get(address)
    assert "Green: Rider 1 with Horse 1" in page(opened)
    assert desk.post(address, form_of(opened))["Location"] == HOME
    unchanged = Championship.objects.get()
    assert (unchanged.version, unchanged.document) == (1, championship.document)
    fields = form_of(opened) | {"counting": "2", "title": "Middle tour", "why": "misread"}
    save(desk, address, fields)
    changed = Championship.objects.get()
    assert (changed.version, changed.title, changed.document["counting"]) == (2, "Middle tour", 2)
    assert changed.document["x-note"] == "kept as it is"
    assert "misread" in page(desk.get(address))


def test_two_people_at_once_lose_nothing(desk, championship):
    address = reverse("desk-championship", args=["linden-autumn", "small-tour"])
    fields = form_of(desk.get(address)) | {"title": "Mine"}
    update_championship(championship, expected_version=1, by=None, title="Theirs")
    response = desk.post(address, fields)
    assert response.status_code == 409
    assert "changed by someone else" in page(response)
    assert 'value="Mine"' in page(response)
    assert Championship.objects.get().title == "Theirs"
    again = fields | {"version": str(response.context["championship"].version)}
    assert desk.post(address, again)["Location"] == HOME
    assert Championship.objects.get().title == "Mine"


def test_the_sentences_alone_are_what_the_page_asks_for_while_typing(desk, classes):
    response = desk.post(NEW, typed(counting="1"), headers={"X-Part": "rule"})
    assert "<html" not in page(response)
    assert "The mean of the best 1 of total" in page(response)
    wrong = desk.post(NEW, typed(decimals=""), headers={"X-Part": "rule"})
    assert "The decimals is missing." in page(wrong)
    assert shown(wrong) == ""
    assert not Championship.objects.exists()


def test_it_is_deleted_with_a_reason_unless_it_has_changed(desk, championship):
    address = reverse("desk-championship-delete", args=["linden-autumn", "small-tour"])
    assert desk.post(address, {"version": "9"})["Location"] == address.removesuffix("delete/")
    assert Championship.objects.exists()
    assert desk.post(address, {"version": "1", "why": "not held"})["Location"] == HOME
    assert not Championship.objects.exists()
    assert ChampionshipChange.objects.latest("pk").reason == "not held"


def test_the_desk_lists_championships_and_says_what_the_bundle_leaves_out(desk, classes, championship):
    text = page(desk.get(HOME))
    assert "No class has official results yet" in text
    assert reverse("desk-championship", args=["linden-autumn", "small-tour"]) in text
    make_official(classes[0], by=None, findings_reason="signatures are on the paper")
    text = page(desk.get(HOME))
    assert reverse("desk-bundle", args=["linden-autumn"]) in text
    assert "Left out are 2 classes:" in text
    assert "Class 2. Its results are provisional." in text


def test_the_bundle_is_a_file_that_recomputes(desk, classes):
    address = reverse("desk-bundle", args=["linden-autumn"])
    nothing = desk.get(address, follow=True)
    assert "No class of Linden Autumn Days has official results yet" in page(nothing)
    make_official(classes[0], by=None, findings_reason="signatures are on the paper")
    response = desk.get(address)
    assert response["Content-Disposition"] == 'attachment; filename="linden-autumn-results.json"'
    assert response["Cache-Control"] == "no-store"
    document = response.json()
    assert [one["class"]["x-number"] for one in document["classes"]] == ["1"]
