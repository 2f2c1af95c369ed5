"""The day's document: what a device needs, and nothing of what this person may not know."""

from __future__ import annotations

import gzip
import json
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from competitions.models import Judge, Recording
from competitions.table.days import current_days, days_of
from tests.builders import make_class, make_competition, make_user, mark_sheet
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db
DATA = ["linden-autumn", "2026-11-14"]


def day(user):
    return client_of(user).get(reverse("table-day-data", args=DATA))


def test_a_judge_gets_the_own_seat_with_lines_rides_and_what_stands_on_the_sheets(judge, cls):
    mark_sheet(cls.entries.get(number="2"), "C", marks={"1": 65}, remarks={"1": "more bend"})
    mark_sheet(cls.entries.get(number="2"), "B", marks={"1": 60}, remarks={"1": "hurried"})
    found = day(judge).json()
    (one,) = found["classes"]
    assert [seat["seat"] for seat in one["seats"]] == ["C"]
    assert [line["id"] for line in one["seats"][0]["lines"]] == ["1", "2", "3", "4", "G1", "G2"]
    assert [entry["time"] for entry in one["entries"]] == ["09:00", "09:08", "09:16"]
    assert [(sheet["marks"], sheet["version"]) for sheet in found["sheets"]] == [({"1": 65}, 1)]
    assert one["consequences"][1] == "1 error of course: 2 points off every sheet."
    assert "hurried" not in day(judge).content.decode()


def test_errors_of_course_belong_to_c_and_to_the_office(judge, colleague, office, cls):
    counts = {user.username: day(user).json()["classes"][0]["seats"] for user in (judge, colleague, office)}
    found = {name: {seat["seat"]: seat["countsErrors"] for seat in seats} for name, seats in counts.items()}
    assert found == {"judge": {"C": True}, "colleague": {"B": False}, "office": {"C": True, "B": True}}


def test_the_office_gets_every_seat_and_learns_no_phrases_of_other_shows(judge, office, cls):
    elsewhere = make_class(make_competition("elsewhere"), entries=1, judges={"C": judge.judge})
    mark_sheet(elsewhere.entries.get(), "C", remarks={"1": "said elsewhere"})
    mark_sheet(cls.entries.get(number="1"), "C", remarks={"1": "more bend, keep rhythm"})
    by_office = day(office).json()["phrases"]["Ingvild Solstrand"]
    assert [phrase for phrase, _, _ in by_office] == ["keep rhythm", "more bend"]
    own = day(judge).json()["phrases"]["Ingvild Solstrand"]
    assert {phrase: families for phrase, _, families in own} == {
        "keep rhythm": {"circle": 1},
        "more bend": {"circle": 1},
        "said elsewhere": {"circle": 1},
    }


def test_others_get_nothing(client, cls):
    stranger = make_user("stranger")
    assert day(stranger).status_code == 404
    assert client_of(stranger).get(reverse("table-days")).json()["days"] == []
    assert client.get(reverse("table-day-data", args=DATA)).status_code == 401
    assert client.get(reverse("table-days")).json()["code"] == "logged-out"


def test_the_pages_are_one_shell_without_anybodys_data(judge, client, cls):
    own = client_of(judge)
    pages = {
        own.get(address).content
        for address in (
            reverse("table"),
            reverse("table-day", args=DATA),
            reverse("table-sheet", args=["linden-autumn", "1", "1", "C"]),
            reverse("table-commentary", args=["linden-autumn", "1", "1", "C"]),
        )
    }
    assert len(pages) == 1
    (shell,) = pages
    assert b"Solstrand" not in shell
    assert b"csrfmiddlewaretoken" not in shell
    assert client.get(reverse("table"))["Location"].startswith(reverse("login"))


def test_the_worker_names_every_module_and_may_serve_the_folder(client, judge):
    response = client.get(reverse("table-worker"))
    assert response["Content-Type"] == "text/javascript; charset=utf-8"
    assert response["Service-Worker-Allowed"] == "/table/"
    said = response.content.decode()
    for name in ("app", "book", "sender", "sheet", "pad", "store", "commentary", "proposal"):
        assert f"/static/table/{name}.js" in said
    assert "/static/desk/typed_mark.js" in said
    assert "/static/table/worker.js" not in said


def test_today_comes_first_then_the_next_day_then_the_last(judge, cls):
    make_class(cls.competition, number="2", date=date(2026, 11, 15), judges={"C": judge.judge})
    zone = ZoneInfo("Europe/Vienna")
    days = days_of(judge)

    def current(*moment: int) -> list[date]:
        return [found.date for found in current_days(days, now=datetime(*moment, tzinfo=zone))]

    assert current(2026, 11, 14, 0, 5) == [date(2026, 11, 14)]
    assert current(2026, 11, 15, 23, 0) == [date(2026, 11, 15)]
    assert current(2026, 11, 1) == [date(2026, 11, 14)]
    assert current(2026, 12, 1) == [date(2026, 11, 15)]
    assert current_days([], now=datetime(2026, 12, 1, tzinfo=zone)) == []


def test_asking_for_a_day_takes_the_same_queries_for_one_sheet_and_for_many(judge, cls, django_assert_max_num_queries):
    client = client_of(judge)
    for number in "123":
        mark_sheet(cls.entries.get(number=number), "C", remarks={"1": "straight"})
    with django_assert_max_num_queries(18):
        client.get(reverse("table-day-data", args=DATA))


def test_a_judge_without_an_account_is_no_ones_seat(judge, cls):
    Judge.objects.filter(user=judge).update(user=None)
    assert day(judge).status_code == 404


def test_a_day_names_the_film_of_each_ride_in_as_many_queries_for_one_as_for_three(judge, cls):
    """Only in a class judged from recordings, and only a recording that is kept."""
    entries = list(cls.entries.order_by("number"))
    for entry in entries:
        Recording.objects.create(entry=entry, state="deleted", link="https://films.example/0", camera_letter="B")
    Recording.objects.create(entry=entries[0], state="kept", name="a.mp4", length=9, camera_letter="C")
    assert "recording" not in day(judge).json()["classes"][0]["entries"][0]
    cls.from_recordings = True
    cls.save()
    with CaptureQueriesContext(connection) as few:
        (found,) = day(judge).json()["classes"]
    assert found["fromRecordings"] is True
    film = f"/api/v1/entries/{entries[0].pk}/recording/film/"
    assert found["entries"][0]["recording"] == {"film": film, "link": "", "camera": "at C"}
    assert [entry.get("recording") for entry in found["entries"][1:]] == [None, None]
    for entry in entries[1:]:
        Recording.objects.create(entry=entry, state="kept", link="https://films.example/1", camera_place="at home")
    with CaptureQueriesContext(connection) as many:
        (found,) = day(judge).json()["classes"]
    assert found["entries"][2]["recording"] == {"film": "", "link": "https://films.example/1", "camera": "at home"}
    assert len(few) == len(many)


def test_a_day_is_compressed_for_a_weak_network(judge, cls):
    response = client_of(judge).get(reverse("table-day-data", args=DATA), headers={"Accept-Encoding": "gzip"})
    assert response["Content-Encoding"] == "gzip"
    assert json.loads(gzip.decompress(response.content)) == day(judge).json()
