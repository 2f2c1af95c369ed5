"""The remarks of a sheet as captions of the recording: who may read them, what they hold, and what the page says."""

from __future__ import annotations

import pytest
from django.test import Client

from competitions.models import Judge, Sheet
from competitions.services.results import make_official
from tests.builders import make_class, make_competition, make_pair, make_user, mark_sheet

pytestmark = pytest.mark.django_db

SHEETS = "/competitions/linden-autumn/1/1/sheets/"
FILE = f"{SHEETS}C/remarks.vtt"


@pytest.fixture
def people():
    users = {name: make_user(name) for name in ("office", "judge", "colleague", "rider", "stranger")}
    make_pair(1, user=users["rider"])
    return users


@pytest.fixture
def ridden(people):
    judges = {
        seat: Judge.objects.create(name=name, user=people[name]) for seat, name in (("C", "judge"), ("B", "colleague"))
    }
    cls = make_class(make_competition(office=people["office"]), seats="CB", entries=1, judges=judges)
    entry = cls.entries.get()
    remarks = {"1": "Straight & <active>", "2": "late -->", "3": "rounder"}
    mark_sheet(entry, "C", remarks=remarks, overall_remarks="A pleasing pair.")
    mark_sheet(entry, "B")
    Sheet.objects.filter(entry=entry, seat__seat="C").update(
        times={"1": 2000, "2": 60_000}, remark_times={"1": 5500}, overall_time=300_000
    )
    return cls


def get(user, path):
    client = Client()
    if user is not None:
        client.force_login(user)
    return client.get(path)


def test_the_captions_hold_each_remark_at_its_moment_or_that_of_its_mark(ridden, people):
    answer = get(people["judge"], FILE)
    assert answer["Content-Type"] == "text/vtt; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert answer["Content-Disposition"] == 'inline; filename="linden-autumn-1-1-C.vtt"'
    assert answer.content.decode() == (
        "WEBVTT Class 1, number 1, seat C\n\n"
        "NOTE Without a moment\n3: rounder\n\n"
        "1\n00:00:05.500 --> 00:00:07.700\nStraight &amp; &lt;active&gt;\n\n"
        "2\n00:01:00.000 --> 00:01:02.000\nlate --&gt;\n\n"
        "The ride as a whole\n00:05:00.000 --> 00:05:02.200\nA pleasing pair.\n"
    )
    assert get(people["judge"], f"{FILE}?copy=1")["Content-Disposition"].startswith("attachment;")


def test_captions_are_as_private_as_the_sheet(ridden, people):
    def statuses():
        return {name: get(people.get(name), FILE).status_code for name in (*people, "visitor")}

    others = {"colleague": 404, "stranger": 404, "visitor": 404}
    assert statuses() == {"office": 200, "judge": 200, "rider": 404, **others}
    make_official(ridden, by=people["office"])
    assert statuses() == {"office": 200, "judge": 200, "rider": 200, **others}


@pytest.mark.parametrize("seat", ["X", "%00", "C%0a", "c" * 300, ".."])
def test_a_sheet_that_is_not_there_is_not_found(ridden, people, seat):
    assert get(people["office"], f"{SHEETS}{seat}/remarks.vtt").status_code == 404


def test_the_page_lists_the_remarks_in_the_order_of_the_recording(ridden, people):
    page = get(people["judge"], SHEETS).content.decode()
    section = page[page.index('id="moments"') : page.index("The sheet</h2>")]
    moments = [section.index(words) for words in ("Straight &amp;", "late --", "A pleasing pair.")]
    assert moments == sorted(moments)
    assert "0:05.5" in section
    assert "rounder" not in section
    assert "1 of 4 remarks" in section
    assert f"{FILE}?copy=1" in section
    assert "<video" not in page


def test_a_sheet_without_moments_says_nothing_of_captions(ridden, people):
    Sheet.objects.update(times={}, remark_times={}, overall_time=None)
    page = get(people["judge"], SHEETS).content.decode()
    assert "remarks.vtt" not in page
    assert get(people["judge"], FILE).content.decode().count("-->") == 0
