"""The page of a recording: who opens it, what it offers when, and what it says to nonsense."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from competitions.models import Judge, Recording
from competitions.services.recordings import Camera, add_piece, delete_recording, finish_upload, name_link, start_upload
from competitions.services.results import make_official
from tests.builders import make_class, make_competition, make_pair, make_user, mark_sheet
from tests.competitions.films import RIDE

pytestmark = pytest.mark.django_db

PAGE = "/competitions/linden-autumn/1/1/recording/"
LINK = {
    "act": "link",
    "link-link": "https://films.example/1",
    "link-camera_letter": "",
    "link-camera_place": "in the stand",
    "link-camera_height": "250",
}


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def people():
    found = {name: make_user(name) for name in ("rider", "other-rider", "judge", "other-judge", "office", "stranger")}
    return found | {"staff": make_user("staff", is_staff=True)}


@pytest.fixture
def cls(people):
    make_pair(1, user=people["rider"])
    make_pair(2, user=people["other-rider"])
    judge = Judge.objects.create(name="Iris Holm", user=people["judge"])
    Judge.objects.create(name="Nils Berg", user=people["other-judge"])
    show = make_competition(office=people["office"])
    return make_class(show, seats="C", entries=2, judges={"C": judge}, from_recordings=True)


@pytest.fixture
def entry(cls):
    return cls.entries.get(number="1")


def film(entry, by) -> Recording:
    begun = start_upload(
        entry, name="<b>ride.webm", length=len(RIDE), modified="1", camera=Camera(letter="C", height=250), by=by
    )
    add_piece(begun, begin=0, piece=RIDE)
    return finish_upload(begun, by=by)


def as_one(client: Client, user) -> Client:
    client.force_login(user)
    return client


def test_the_rider_the_judges_and_the_office_open_it_and_nobody_else(client, cls, entry, people):
    film(entry, people["rider"])
    for name, user in people.items():
        opened = as_one(client, user).get(PAGE)
        assert opened.status_code == (200 if name in {"rider", "judge", "office", "staff"} else 404), name
        sends = name in {"rider", "office", "staff"}
        assert ("Send another film" in opened.content.decode()) is sends
        sent = client.post(PAGE, {"act": "delete"} if not sends else {"act": "nonsense"})
        assert sent.status_code == (400 if sends else 404), name
    client.logout()
    assert client.get(PAGE).status_code == 404
    assert Recording.objects.get().state == Recording.State.KEPT


def test_a_class_at_the_arena_has_no_such_page(client, cls, people):
    cls.from_recordings = False
    cls.save()
    assert as_one(client, people["rider"]).get(PAGE).status_code == 404


def test_a_file_is_played_from_here_and_its_name_stays_text(client, entry, people):
    film(entry, people["rider"])
    page = as_one(client, people["rider"]).get(PAGE)
    text = page.content.decode()
    assert f'src="/api/v1/entries/{entry.pk}/recording/film/"' in text
    assert "&lt;b&gt;ride.webm" in text
    assert "<b>ride" not in text
    assert "Filmed at C, 2.50 m high." in text
    assert "media-src 'self'" in page["Content-Security-Policy"]
    assert "no-store" in page["Cache-Control"]


def test_a_link_is_named_with_a_warning_and_opens_elsewhere(client, entry, people):
    answer = as_one(client, people["rider"]).post(PAGE, LINK, follow=True)
    text = answer.content.decode()
    assert "The link is named." in text
    assert 'href="https://films.example/1" target="_blank" rel="noopener noreferrer"' in text
    assert "whoever runs that site learns who opens it" in text
    assert "Filmed in the stand, 2.50 m high." in text
    assert "Link named" in text


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"link-link": ""}, "The address is missing."),
        ({"link-link": "http://films.example/1"}, "is no link that can be opened safely"),
        ({"link-link": "javascript:alert(1)"}, "is no link that can be opened safely"),
        ({"link-link": "x" * 501}, "more than 500 characters"),
        ({"link-camera_place": ""}, "Say where the camera stood"),
        ({"link-camera_letter": "C"}, "Say where the camera stood"),
        ({"link-camera_letter": "Z"}, "is no letter of the arena"),
        ({"link-camera_place": "x" * 121}, "at most 120 characters"),
        ({"link-camera_place": "a\0b"}, "Null characters are not allowed"),
        ({"link-camera_place": "a\u202eb"}, "Say in one line"),
        ({"link-camera_height": "high"}, "a whole number of centimetres"),
        ({"link-camera_height": "-1"}, "from 0 to 3000"),
        ({"link-camera_height": "9" * 400}, "from 0 to 3000"),
        ({"act": ""}, "This page offers no such thing."),
        ({"act": "camera"}, "There is no recording any more"),
    ],
)
def test_nonsense_gets_a_sentence_and_nothing_typed_is_lost(client, entry, people, changed, sentence):
    answer = as_one(client, people["rider"]).post(PAGE, LINK | changed)
    assert answer.status_code == 400
    text = answer.content.decode().replace("&quot;", '"').replace("&#x27;", "'")
    assert sentence in text
    if changed.get("act", "link") == "link":
        assert (changed.get("link-camera_place", "in the stand") or "in the stand").replace("\0", "")[:3] in text
    assert not entry.recordings.exists()


def test_the_camera_is_corrected_and_an_upload_given_up(client, entry, people):
    film(entry, people["rider"])
    begun = start_upload(entry, name="b.mp4", length=400, modified="", camera=Camera(letter="B"), by=people["rider"])
    add_piece(begun, begin=0, piece=b"x" * 100)
    as_one(client, people["rider"])
    assert "b.mp4 broke off at 25 %" in client.get(PAGE).content.decode()
    moved = {"act": "camera", "moved-camera_letter": "E", "moved-camera_place": "", "moved-camera_height": ""}
    assert "Filmed at E: so it stands now." in client.post(PAGE, moved, follow=True).content.decode()
    assert "is removed" in client.post(PAGE, {"act": "give-up"}, follow=True).content.decode()
    assert "broken-off" not in client.get(PAGE).content.decode()
    assert client.post(PAGE, {"act": "give-up"}).status_code == 302


def test_once_a_judge_began_only_the_official_results_open_the_way_to_delete_it(client, cls, entry, people):
    film(entry, people["rider"])
    as_one(client, people["rider"])
    for each in cls.entries.all():
        mark_sheet(each, signed=True)
    text = client.get(PAGE).content.decode()
    assert "A judge has begun with this ride" in text
    assert "Send another film" not in text
    assert client.post(PAGE, LINK).status_code == 400
    refused = client.post(PAGE, {"act": "delete"})
    assert refused.status_code == 400
    assert "The judges are at work with this recording." in refused.content.decode()
    make_official(cls, by=people["office"])
    text = client.post(PAGE, {"act": "delete", "reason": "a\0minor"}, follow=True).content.decode()
    assert "The recording is deleted." in text
    assert "aminor" in text
    assert client.post(PAGE, {"act": "delete"}).status_code == 400


def test_pages_lead_to_it_and_the_desk_says_what_is_missing(client, cls, entry, people):
    name_link(entry, link="https://films.example/1", camera=Camera(letter="C"), by=people["rider"])
    assert PAGE in as_one(client, people["rider"]).get("/competitions/linden-autumn/1/1/").content.decode()
    assert PAGE not in as_one(client, people["stranger"]).get("/competitions/linden-autumn/1/1/").content.decode()
    as_one(client, people["office"])
    desk = client.get(reverse("desk-class", args=["linden-autumn", "1"])).content.decode()
    assert 'No recording yet of number <a href="/competitions/linden-autumn/1/2/recording/">2</a>.' in desk
    assert PAGE in client.get(reverse("desk-entry", args=["linden-autumn", "1", "1"])).content.decode()
    assert "judged from recordings" in client.get("/competitions/linden-autumn/1/").content.decode()


def test_the_sheet_says_from_where_and_what_was_hidden(client, cls, entry, people):
    film(entry, people["rider"])
    for each in cls.entries.all():
        mark_sheet(each, signed=True, times={"2": 83400}, limited=["2", "G1"])
    make_official(cls, by=people["office"])
    text = as_one(client, people["rider"]).get("/competitions/linden-autumn/1/1/sheets/").content.decode()
    said = "Judged from a recording, filmed at C, 2.50 m high; limited view of 2, G1."
    assert said in text
    assert text.count("limited view</span>") == 2
    assert "1:23.4" in text
    assert PAGE in text
    delete_recording(entry.recordings.get(), by=people["rider"])
    assert said in client.get("/competitions/linden-autumn/1/1/sheets/").content.decode()
