from __future__ import annotations

import pytest
from django.test import Client, RequestFactory
from django.views import defaults

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("view", "status", "sentence"),
    [
        (defaults.bad_request, 400, "That request could not be read"),
        (defaults.permission_denied, 403, "This page is not open to you"),
        (defaults.page_not_found, 404, "There is no such page"),
    ],
)
def test_an_error_page_says_what_happened_and_what_to_do(view, status: int, sentence: str):
    answer = view(RequestFactory().get("/"), exception=ValueError("inner workings"))
    page = answer.content.decode()
    assert answer.status_code == status
    assert sentence in page
    assert "inner workings" not in page


def test_the_page_for_a_fault_of_ours_needs_neither_database_nor_session(django_assert_num_queries):
    with django_assert_num_queries(0):
        answer = defaults.server_error(RequestFactory().get("/"))
    assert answer.status_code == 500
    assert "What was saved before is safe." in answer.content.decode()


def test_pages_hold_neither_inline_style_nor_inline_script(client: Client):
    for path in ("/", "/login/"):
        answer = client.get(path)
        page = answer.content.decode()
        assert " style=" not in page
        assert "<style" not in page
        assert " onclick" not in page
        assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
