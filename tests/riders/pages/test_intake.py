"""The page on which those who keep an association hand in results of other shows."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from competitions.models import Competition
from competitions.services.bundles import bundle_text
from competitions.services.results import make_official
from riders.models import Score, ScoreChange
from tests.builders import make_association, make_class, make_competition, make_user, mark_sheet

pytestmark = pytest.mark.django_db

ADDRESS = "/associations/linden/ledger/import/"
SCORES = (
    "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
    "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,1,64.500,completed\n"
)
JSON_LINE = (
    '{"score_id": "far/1/1", "pair": "X1", "rider": "Una Lind", "horse": "Fen", "date": "2026-11-01", '
    '"competition": "far", "class": "1", "percentage": "64.500", "status": "completed"}\n'
)


@pytest.fixture
def keeper(client: Client) -> Client:
    user = make_user("keeper")
    make_association(keeper=user)
    client.force_login(user)
    return client


@pytest.fixture
def bundle() -> str:
    """The bundle of a show that this ledger knows nothing of."""
    competition = make_competition("moor-summer", title="Moor Summer")
    found = make_class(competition, entries=2)
    for entry, mark in zip(found.entries.order_by("number"), (70, 60), strict=True):
        mark_sheet(entry, mark=mark)
    make_official(found, by=None)
    text = bundle_text(competition)
    ScoreChange.objects.all().delete()
    Score.objects.all().delete()
    return text


def said(response) -> str:
    return " ".join(response.content.decode().split())


def upload(text: str, name: str = "results.json") -> dict[str, object]:
    return {"file": SimpleUploadedFile(name, text.encode()), "reason": "sent by the office"}


def test_a_bundle_is_posted_and_what_was_done_is_said(keeper: Client, bundle: str):
    page = said(keeper.post(ADDRESS, upload(bundle), follow=True))
    assert "Moor Summer: 1 class recomputed and found right; 2 scores posted" in page
    assert sorted(Score.objects.values_list("key", "percentage")) == [
        ("moor-summer/1/1", "70.000"),
        ("moor-summer/1/2", "60.000"),
    ]
    assert "0 scores posted, 0 corrected, 2 unchanged" in said(keeper.post(ADDRESS, upload(bundle), follow=True))


def test_a_figure_that_differs_refuses_the_bundle_and_every_difference_is_listed(keeper: Client, bundle: str):
    changed = json.loads(bundle)
    for row in changed["classes"][0]["results"]["entries"]:
        row["total"] = "99.000"
    response = keeper.post(ADDRESS, upload(json.dumps(changed)))
    assert response.status_code == 422
    page = said(response)
    assert "not what is recomputed from the marks" in page
    assert page.count("99.000") >= 2
    assert not Score.objects.exists()


@pytest.mark.parametrize("text", [SCORES, JSON_LINE])
def test_a_file_of_scores_is_told_from_a_bundle(keeper: Client, text: str):
    page = said(keeper.post(ADDRESS, {"text": text}, follow=True))
    assert "The file of scores is in the ledger: 1 posted, 0 corrected, 0 unchanged." in page
    assert Score.objects.get().percentage == "64.500"


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({}, "Nothing was sent."),
        ({"text": SCORES.replace("2026-11-01", "1 November")}, "1 November"),
        ({"text": '{"format": "bundle/1",'}, "JSON"),
        ({"text": '{"format": "class/1"}'}, "bundle/1"),
    ],
)
def test_what_cannot_be_used_is_said_and_stays_in_the_box(keeper: Client, sent: dict[str, str], sentence: str):
    response = keeper.post(ADDRESS, sent)
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert sent.get("text", "").replace('"', "&quot;").strip() in response.content.decode()
    assert not Score.objects.exists()


def test_a_file_that_is_no_text_is_refused(keeper: Client):
    response = keeper.post(ADDRESS, {"file": SimpleUploadedFile("scores.xls", b"\xff\xfe\x00\x01")})
    assert "scores.xls is not UTF-8 text (byte 1)." in response.content.decode()


def test_only_those_who_keep_the_association_get_in(client: Client, keeper: Client, bundle: str):
    assert keeper.get(ADDRESS).status_code == 200
    assert f'href="{ADDRESS}"' in keeper.get("/associations/linden/").content.decode()
    other = Client()
    other.force_login(make_user("other"))
    assert other.get(ADDRESS).status_code == 403
    assert other.post(ADDRESS, upload(bundle)).status_code == 403
    assert ADDRESS not in other.get("/associations/linden/").content.decode()
    assert Client().get(ADDRESS).status_code == 302
    assert Client().post(ADDRESS, upload(bundle)).status_code == 302
    assert not Score.objects.exists()
    assert Competition.objects.count() == 1
