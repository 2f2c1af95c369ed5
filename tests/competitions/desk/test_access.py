"""Every page of the desk for everyone who may come along."""

from __future__ import annotations

import pytest
from django.urls import URLPattern, reverse

from competitions.desk.urls import urlpatterns
from competitions.models import Competition
from tests.builders import mark_sheet

pytestmark = pytest.mark.django_db

FOR_ANY_OFFICE = {"desk", "desk-competition-new", "desk-competition-import", "desk-documents"}
POST_ONLY = {
    "desk-championship-delete",
    "desk-ring",
    "desk-draw",
    "desk-entry-remove",
    "desk-correction",
    "desk-withdraw",
    "desk-first-keying",
}
NO_PAGES = {"desk-export", "desk-sheet-state", "desk-keyings-file", "desk-key-again-state"}
NAMES = [pattern.name for pattern in urlpatterns if isinstance(pattern, URLPattern)]


def address(name: str) -> str:
    known = {"slug": "linden-autumn", "number": "1", "entry": "1", "seat": "C", "kind": "entries"}
    known["championship"] = "small-tour"
    pattern = next(pattern for pattern in urlpatterns if pattern.name == name)
    return reverse(name, kwargs={key: known[key] for key in pattern.pattern.converters})


def visit(client, name: str):
    return client.post(address(name)) if name in POST_ONLY else client.get(address(name))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("who", ["office", "staff"])
def test_the_office_and_staff_work_at_every_page(people, name, who):
    assert visit(people[who], name).status_code in {200, 302, 422}


@pytest.mark.parametrize("name", NAMES)
def test_nobody_gets_in_without_logging_in(people, name):
    response = visit(people["anonymous"], name)
    assert response.status_code == 302
    assert response["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("who", ["judge", "rider"])
def test_judges_and_riders_have_no_desk(people, name, who):
    assert visit(people[who], name).status_code == 403


@pytest.mark.parametrize("name", sorted(set(NAMES) - FOR_ANY_OFFICE))
def test_another_office_does_not_work_here(people, name):
    assert visit(people["another office"], name).status_code == 403


@pytest.mark.parametrize("name", sorted(FOR_ANY_OFFICE))
def test_any_office_may_set_up_competitions_and_documents(people, name):
    assert visit(people["another office"], name).status_code == 200


def test_a_planned_competition_does_not_exist_for_another_office(people, competition):
    Competition.objects.update(state=Competition.State.PLANNED)
    assert visit(people["another office"], "desk-class").status_code == 404
    assert visit(people["office"], "desk-class").status_code == 200


def test_the_list_shows_only_ones_own_competitions(people):
    assert "Linden Autumn Days" in people["office"].get(reverse("desk")).content.decode()
    others = people["another office"].get(reverse("desk")).content.decode()
    assert reverse("desk-competition", args=["linden-autumn"]) not in others


@pytest.mark.parametrize("who", ["another office", "judge", "rider", "anonymous"])
def test_a_refused_saving_saves_nothing(people, cls, who):
    people[who].post(address("desk-sheet"), {"mark-1": "7", "version": "0", "errors_base": "0"})
    assert not cls.entries.get(number="1").sheets.exists()


@pytest.mark.parametrize(
    "path",
    [
        "/desk/nowhere/",
        "/desk/linden-autumn/77/",
        "/desk/linden-autumn/1/77/",
        "/desk/linden-autumn/1/1/X/",
        "/desk/linden-autumn/office/import/horses/",
        "/desk/linden-autumn/office/export/horses/",
    ],
)
def test_what_does_not_exist_is_not_found(people, path):
    assert people["office"].get(path).status_code == 404


def test_no_page_holds_script_or_style_of_its_own(people, cls):
    mark_sheet(cls.entries.get(number="1"))
    for name in set(NAMES) - POST_ONLY - NO_PAGES:
        page = visit(people["office"], name).content.decode()
        assert " style=" not in page, name
        assert " onclick=" not in page, name
        assert "<style" not in page, name
        scripts = [part.split(">")[0] for part in page.split("<script")[1:]]
        assert all("src=" in script or 'type="application/json"' in script for script in scripts), name
