from __future__ import annotations

import pytest
from django.conf import settings
from django.test import Client


@pytest.fixture
def open_as(browser, live_server):
    """Return a function that opens a page in a window of its own, logged in as someone, or as nobody."""
    contexts = []

    def open_page(user, path: str, **options):
        context = browser.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        if user is not None:
            client = Client()
            client.force_login(user)
            cookie = client.cookies[settings.SESSION_COOKIE_NAME]
            context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": live_server.url}])
        page = context.new_page()
        page.set_default_timeout(15000)
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
