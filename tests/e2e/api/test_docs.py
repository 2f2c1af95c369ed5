"""The OpenAPI page in a real browser, under the policy that every page has."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest

from riders.services.accounts import create_token
from tests.builders import make_user

METHODS = {"get", "post", "put", "patch", "delete"}

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


def drawn_while_scrolling(page) -> set[str]:
    """Go through the page from the top to the bottom: it draws only what is near the window."""
    drawn: set[str] = set()
    for step in range(1000):
        ids = page.locator(".opblock").evaluate_all("blocks => blocks.map((block) => block.id)")
        drawn |= set(ids)
        page.evaluate(f"window.scrollTo(0, {300 * step})")
        page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        if page.evaluate("window.scrollY + window.innerHeight >= document.documentElement.scrollHeight - 2"):
            break
    return drawn | set(page.locator(".opblock").evaluate_all("blocks => blocks.map((block) => block.id)"))


def test_the_page_draws_every_operation_and_asks_no_other_host(docs, live_server, client) -> None:
    page, complaints, asked = docs
    paths = client.get("/api/v1/schema/?format=json").json()["paths"].values()
    operations = sum(len(METHODS & path.keys()) for path in paths)
    assert operations > 60
    assert len(drawn_while_scrolling(page)) == operations
    page.locator(".operation-filter-input").fill("Sheets")
    operation = page.locator("#operations-Sheets-sheets_partial_update")
    operation.locator(".opblock-summary-control").click()
    operation.get_by_text("The version that the change was made from").wait_for()
    assert operation.get_by_text("Idempotency-Key").count() >= 1
    assert complaints == []
    assert {urlsplit(url).netloc for url in asked if not url.startswith("data:")} == {urlsplit(live_server.url).netloc}


def test_an_operation_can_be_tried_with_a_token(docs) -> None:
    page, complaints, _ = docs
    _, plain = create_token(make_user("ada"), name="tests")
    page.locator(".auth-wrapper .authorize").click()
    page.locator("#auth-bearer-value").fill(plain)
    page.locator(".auth-container form", has=page.locator("#auth-bearer-value")).locator(".authorize").click()
    page.locator(".btn-done").first.click()
    operation = page.locator("#operations-Account-me_retrieve")
    operation.locator(".opblock-summary-control").click()
    operation.locator(".try-out__btn").click()
    with page.expect_response("**/api/v1/me/") as answered:
        operation.locator(".execute").click()
    assert answered.value.status == 200
    assert answered.value.json()["username"] == "ada"
    operation.locator(".live-responses-table tr.response .response-col_status", has_text="200").wait_for()
    assert complaints == []
