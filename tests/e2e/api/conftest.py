from __future__ import annotations

import pytest


@pytest.fixture
def docs(browser, live_server, transactional_db):
    """Return a window on the OpenAPI page, what its console says, and what it asks for."""
    context = browser.new_context(base_url=live_server.url)
    page = context.new_page()
    page.set_default_timeout(15000)
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto("/api/v1/docs/")
    page.wait_for_selector(".opblock")
    yield page, complaints, asked
    context.close()
