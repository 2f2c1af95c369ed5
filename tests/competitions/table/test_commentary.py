"""Spoken commentary laid on a sheet: who may ask, what comes back, and that nothing is written."""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from competitions.models import Sheet, TableChange
from competitions.services.results import make_official
from tests.builders import make_user, mark_sheet
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db

SPOKEN = "Straight entry.\nNice round circle.\nCanter a little hurried.\nOverall a pleasing pair."


def ask(cls, user, text, *, seat="C", entry="1", body=None):
    address = reverse("table-commentary-proposal", args=[cls.competition.slug, "1", entry, seat])
    sent = json.dumps({"text": text}) if body is None else body
    return client_of(user).post(address, sent, content_type="application/json")


def test_each_sentence_comes_back_on_its_movement_and_nothing_is_written(cls, judge):
    answer = ask(cls, judge, SPOKEN).json()
    assert [row["text"] for row in answer["sentences"]] == SPOKEN.split("\n")
    assert answer["sentences"][-1]["item"] is None
    assert answer["alignment"]["format"] == "alignment/1"
    assert [row["item"] for row in answer["alignment"]["cues"]] == [row["item"] for row in answer["sentences"]]
    assert (Sheet.objects.count(), TableChange.objects.count()) == (0, 0)


def test_a_sheet_is_for_the_judge_of_its_seat_and_the_office(cls, judge, colleague, office):
    assert ask(cls, office, SPOKEN, seat="B").status_code == 200
    assert ask(cls, colleague, SPOKEN, seat="B").status_code == 200
    assert ask(cls, judge, SPOKEN, seat="B").status_code == 404
    assert ask(cls, make_user("visitor"), SPOKEN).status_code == 404
    assert ask(cls, judge, SPOKEN, entry="99").status_code == 404
    assert ask(cls, judge, SPOKEN, entry="\0").status_code == 404


def test_who_is_not_logged_in_is_told_so_in_json(cls, client):
    address = reverse("table-commentary-proposal", args=[cls.competition.slug, "1", "1", "C"])
    answer = client.post(address, json.dumps({"text": "Good."}), content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (401, "logged-out")


def test_official_results_take_no_more_remarks(cls, judge, office):
    for entry in cls.entries.all():
        for seat in "CB":
            mark_sheet(entry, seat)
    make_official(cls, by=office)
    answer = ask(cls, judge, SPOKEN)
    assert (answer.status_code, answer.json()["code"]) == (403, "closed")


def test_every_line_that_cannot_be_read_is_named(cls, judge):
    text = "WEBVTT\n\n00:01.000 --> 00:04.000\nEntry.\n\n"
    text += "00:75.000 --> 00:80.000\nHalt.\n\n00:09.000 --> 00:04.000\nCircle.\n"
    answer = ask(cls, judge, text)
    assert answer.status_code == 400
    told = answer.json()
    assert [sentence.split(",")[0] for sentence in told["problems"]] == ["Line 6", "Line 9"]
    assert told["message"] == "2 things in the text cannot be read."


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "invalid"),
        ("  \n \n", "invalid"),
        ("WEBVTT\n\n", "invalid"),
        ("nul \x00 byte", "invalid"),
        ("\ud800", "invalid"),
        ("word " * 12_001, "too-long"),
        ("a. " * 19_000, "invalid"),
        (7, "invalid"),
        (None, "invalid"),
        (["Entry."], "invalid"),
    ],
    ids=["empty", "blank", "only a header", "nul", "half a character", "long", "sentences", "number", "null", "list"],
)
def test_nonsense_gets_a_sentence(cls, judge, text, code):
    answer = ask(cls, judge, text)
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert answer.json()["message"].endswith(".")


@pytest.mark.parametrize("body", ["", "[]", "{", "null", '"text"', b"\xff\xfe"])
def test_what_is_no_json_object_gets_a_sentence(cls, judge, body):
    assert ask(cls, judge, None, body=body).status_code == 400


def test_line_ends_and_a_byte_order_mark_make_no_difference(cls, judge):
    spoken = "WEBVTT\n\n00:01.000 --> 00:04.000\nStraight entry.\n\n00:20.000 --> 00:24.000\nCircle too large.\n"
    plain = ask(cls, judge, spoken).json()
    assert ask(cls, judge, "\ufeff" + spoken.replace("\n", "\r\n")).json() == plain
    assert [row["start"] for row in plain["sentences"]] == ["1", "20"]


def test_a_seat_that_marks_one_part_is_offered_that_part_only(cls, judge):
    seat = cls.seats.get(seat="C")
    seat.parts = ["artistic"]
    seat.save(update_fields=["parts"])
    assert {row["item"] for row in ask(cls, judge, SPOKEN).json()["sentences"]} == {None}
