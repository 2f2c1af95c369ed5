from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from competitions.models import Judge
from tests.builders import make_class, make_competition, make_user


@pytest.fixture
def office():
    return make_user("office", first_name="Ottilie", last_name="Brandmair")


@pytest.fixture
def judge():
    user = make_user("judge", first_name="Ingvild", last_name="Solstrand")
    Judge.objects.create(name="Ingvild Solstrand", user=user)
    return user


@pytest.fixture
def colleague():
    user = make_user("colleague", first_name="Anton", last_name="Vesely")
    Judge.objects.create(name="Anton Vesely", user=user)
    return user


@pytest.fixture
def cls(office, judge, colleague):
    """Class 1 with the judge at C and a colleague at B, and entries 1 to 3."""
    judges = {"C": judge.judge, "B": colleague.judge}
    return make_class(make_competition(office=office), seats="CB", entries=3, judges=judges)


@pytest.fixture
def place(cls):
    """Return ids of an entry and a seat as a device knows them."""

    def found(number: str = "1", seat: str = "C") -> dict[str, int]:
        return {"entry": cls.entries.get(number=number).pk, "seat": cls.seats.get(seat=seat).pk}

    return found


def client_of(user) -> Client:
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def send(cls):
    """Return a function that sends changes as someone, as a device does; ids are made where none is given."""
    count = iter(range(10**6))

    def post(user, *changes, client=None, as_user=None):
        rows = [{"id": f"change-{next(count):06}", "base": None} | change for change in changes]
        body = {"user": (as_user or user).pk, "changes": rows}
        client = client or client_of(user)
        return client.post(reverse("table-changes"), json.dumps(body), content_type="application/json")

    return post
