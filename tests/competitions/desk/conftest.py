from __future__ import annotations

import pytest
from django.test import Client

from competitions.models import Judge
from tests.builders import make_championship, make_class, make_competition, make_pair, make_user


@pytest.fixture
def office():
    return make_user("office", first_name="Ottilie", last_name="Brandmair")


@pytest.fixture
def competition(office):
    return make_competition(office=office, sheets_signed=True)


@pytest.fixture
def cls(competition):
    """Class 1 with seats C and B, a judge at C, and entries 1 to 3."""
    judge = Judge.objects.create(name="Ingvild Solstrand", user=make_user("judge"))
    return make_class(competition, seats="CB", entries=3, judges={"C": judge})


@pytest.fixture
def desk(office):
    client = Client()
    client.force_login(office)
    return client


@pytest.fixture
def second_desk(competition):
    """A second person of the same office."""
    other = make_user("second", first_name="Casper", last_name="Wendt")
    competition.office_roles.create(user=other)
    client = Client()
    client.force_login(other)
    return client


@pytest.fixture
def people(competition, cls):
    """A client for everyone who may come along: office, another office, judge, rider, staff, nobody."""
    make_championship(competition, classes=[cls, make_class(competition, number="2")])
    stranger = make_user("stranger")
    make_competition("elsewhere", office=stranger)
    rider = make_user("rider")
    pair = make_pair(1)
    pair.rider.user = rider
    pair.rider.save()
    accounts = {
        "office": competition.office_roles.first().user,
        "another office": stranger,
        "judge": cls.seats.get(seat="C").judge.user,
        "rider": rider,
        "staff": make_user("staff", is_staff=True),
    }
    clients = {"anonymous": Client()}
    for name, user in accounts.items():
        clients[name] = Client()
        clients[name].force_login(user)
    return clients
