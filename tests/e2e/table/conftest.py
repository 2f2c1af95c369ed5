from __future__ import annotations

import pytest
from django.conf import settings
from django.test import Client

from competitions.models import Judge
from tests.builders import make_class, make_competition, make_user


@pytest.fixture
def office(transactional_db):
    return make_user("office", first_name="Ottilie", last_name="Brandmair")


@pytest.fixture
def judge(transactional_db):
    user = make_user("judge", first_name="Ingvild", last_name="Solstrand")
    Judge.objects.create(name="Ingvild Solstrand", user=user)
    return user


@pytest.fixture
def cls(office, judge):
    """Class 1 with the judge at C, nobody with an account at B, and entries 1 to 3."""
    return make_class(make_competition(office=office), seats="CB", entries=3, judges={"C": judge.judge})


def log_in(context, user, address: str) -> None:
    client = Client()
    client.force_login(user)
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": address}])


@pytest.fixture
def open_as(browser, live_server):
    """Return a function that opens a page in a window of its own, logged in as someone."""
    contexts = []

    def open_page(user, path: str, **options):
        context = browser.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        log_in(context, user, live_server.url)
        page = context.new_page()
        page.set_default_timeout(15000)
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
