from __future__ import annotations

import pytest
from django.conf import settings
from django.test import Client

from tests.builders import make_class, make_competition, make_user


@pytest.fixture
def office(transactional_db):
    return make_user("office", first_name="Ottilie", last_name="Brandmair")


@pytest.fixture
def cls(office):
    """Class 1 with seats C and B and entries 1 to 3; a second person works in the office."""
    competition = make_competition(office=office)
    second = make_user("second", first_name="Casper", last_name="Wendt")
    competition.office_roles.create(user=second)
    return make_class(competition, seats="CB", entries=3)


@pytest.fixture
def open_as(browser, live_server):
    """Return a function that opens a page of the desk in a window of its own, logged in as someone."""
    contexts = []

    def open_page(user, path: str, **options):
        client = Client()
        client.force_login(user)
        context = browser.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": live_server.url}])
        page = context.new_page()
        page.set_default_timeout(15000)
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
