"""What no device of ours sends, at the address that takes changes: no fault of the server, no stranger's sheet."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from competitions.models import Sheet, TableChange
from tests.builders import make_class
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db

VALUES: list[Any] = [
    *(None, True, False, 0, 65, -5, 2**31, 2**63, -(2**63), 10**300, 6.5, float("1e308")),
    *("", "7", "a\x00b", "\x00", "\ud800", "x" * 5001, "\u202e<b>", "=1+1", "e\u0301" * 400),
    *([], [1], {}, {"a": {"b": []}}, [[[[]]]]),
]
FIELDS = [
    *("mark.1", "mark.", "mark.99", "mark.\x00", "mark.\ud800", "mark.1.2", "remark.1", "remark.2", "overall"),
    *("signed", "errors", "told", "time.1", "remark_time.1", "overall_time", "limited.1"),
    *("", ".", "version", "__class__", "marks", "sheet.signed", "signed.1", "x" * 60),
]
TEXTS = ["", "short", "a-good-name", "x" * 40, "x" * 41, "null\x00null", "half\ud800half", "ünicode-ß"]


def answers(response) -> list[dict[str, Any]]:
    assert response.status_code == 200, (response.status_code, response.content[:300])
    return response.json()["answers"]


@pytest.mark.parametrize("field", FIELDS, ids=ascii)
def test_every_value_in_every_field_is_taken_or_refused_by_itself(send, judge, place, field):
    client, where = client_of(judge), place()
    for value in VALUES:
        for base in (None, value):
            change = where | {"field": field, "value": value, "base": base}
            found = answers(send(judge, change, client=client))
            assert [answer["outcome"] in {"arrived", "held", "refused"} for answer in found] == [True]
            assert all(answer["why"] for answer in found if answer["outcome"] != "arrived")
    for sheet in Sheet.objects.all():
        assert set(sheet.marks) <= {"1"}
        assert set(sheet.marks.values()) <= {0, 65}


@pytest.mark.parametrize("name", ["id", "deviceTime", "entry", "seat", "field", "overGiven"])
def test_every_part_of_a_change_may_be_nonsense(send, judge, place, name):
    client, where = client_of(judge), place()
    for wrong in (*TEXTS, None, True, False, 0, -1, 2**62, 2**70, 1.5, [], {}):
        change = where | {"field": "mark.1", "value": 65, "base": None, name: wrong}
        assert send(judge, change, client=client).status_code in {200, 400}, ascii(wrong)
    if name in {"entry", "seat"}:
        assert not Sheet.objects.exists()


def test_a_text_with_a_null_character_is_kept_without_it(send, judge, place):
    change = place() | {"field": "remark.1", "value": "more\x00 bend", "base": ""}
    assert [answer["outcome"] for answer in answers(send(judge, change))] == ["arrived"]
    assert Sheet.objects.get().remarks == {"1": "more bend"}
    assert TableChange.objects.get().value == "more bend"


def test_one_name_for_two_changes_is_refused_whole(send, judge, place):
    change = place() | {"id": "the-same-name", "field": "mark.1", "value": 65}
    response = send(judge, change, change | {"field": "mark.2"})
    assert response.status_code == 400
    assert "its own" in response.json()["message"]
    assert not Sheet.objects.exists()


def test_a_name_that_was_used_elsewhere_does_not_pass_for_arrived(send, judge, place):
    first = place() | {"id": "the-same-name", "field": "mark.1", "value": 65}
    answers(send(judge, first))
    (answer,) = answers(send(judge, first | {"field": "mark.2", "value": 70}))
    assert answer["outcome"] == "refused"
    (answer,) = answers(send(judge, place("2") | first | {"entry": place("2")["entry"]}))
    assert answer["outcome"] == "refused"
    (answer,) = answers(send(judge, first))
    assert answer["outcome"] == "arrived"
    assert Sheet.objects.get().marks == {"1": 65}


def test_sheets_of_other_people_classes_and_shows_are_not_touched(send, colleague, judge, cls, place):
    other = make_class(cls.competition, number="2", seats="C", entries=1)
    theirs = {"entry": other.entries.get().pk, "seat": other.seats.get().pk}
    mixed = place() | {"seat": other.seats.get().pk}
    for strange in (theirs, mixed, place() | {"entry": other.entries.get().pk}):
        (answer,) = answers(send(judge, place() | strange | {"field": "mark.1", "value": 65}))
        assert answer["outcome"] == "refused"
        assert answer["theirs"] is None
    assert not Sheet.objects.exists()


@pytest.mark.parametrize(
    "body",
    [
        b"\xff\xfe",
        b"[" * 100_000 + b"]" * 100_000,
        b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
        b'{"changes": [' + b"9" * 5000 + b"]}",
        b'{"changes": [], "user": 1e999}',
        b'{"changes": {"0": 1}}',
        b'{"changes": "abc"}',
        b"NaN",
        json.dumps({"changes": [{}] * 601}).encode(),
        b'"' + b"x" * 3_000_000 + b'"',
    ],
    ids=range(10),
)
def test_a_body_that_is_no_list_of_changes(judge, cls, body):
    response = client_of(judge).post("/table/changes/", body, content_type="application/json")
    assert 400 <= response.status_code < 500


def test_random_batches_end_in_an_answer(send, judge, place):
    """Out of order, repeated, mixed up: every change is answered once, and what stands there is on its scale."""
    chance = random.Random(20261125)
    client, places = client_of(judge), [place(number) for number in "123"]
    names = [f"change-{number:04}" for number in range(40)]
    for _ in range(60):
        batch = [
            chance.choice(places)
            | {
                "id": name,
                "field": chance.choice(FIELDS),
                "value": chance.choice(VALUES),
                "base": chance.choice(VALUES),
                "overGiven": chance.choice([True, False]),
            }
            for name in chance.sample(names, 6)
        ]
        found = answers(send(judge, *batch, client=client))
        assert sorted(answer["id"] for answer in found) == sorted(change["id"] for change in batch)
    assert TableChange.objects.count() == len(set(TableChange.objects.values_list("change_id", flat=True)))
