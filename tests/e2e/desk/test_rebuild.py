"""The standings of a season worked out anew, seen to proceed by who keeps it."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from riders.models import StandingsRebuild
from riders.services import workqueue
from riders.services.ledger import post_scores
from riders.services.rebuilds import run_rebuild
from tests.builders import make_association, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

SEASON = "/associations/linden/2027/"


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_keeper_asks_and_the_bar_moves_to_its_end(open_as, monkeypatch, width: int):
    monkeypatch.setattr(workqueue.current_app, "send_task", lambda *_given, **_options: None)
    keeper = make_user("keeper")
    make_season(make_association(keeper=keeper), scheme=qualifying_scheme(require=[]))
    post_scores([row(n, key=f"s{n}") for n in range(1, 4)], by=None)
    page = open_as(keeper, SEASON, viewport={"width": width, "height": 800})
    page.get_by_role("link", name="Work the standings out anew").click()
    button = page.get_by_role("button", name="Work the standings out anew")
    button.focus()
    page.keyboard.press("Enter")
    bar = page.get_by_role("progressbar")
    expect(bar).to_be_visible()
    StandingsRebuild.objects.update(state="running", progress=42)
    expect(bar).to_have_attribute("value", "42")
    assert Axe().run(page).violations_count == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    StandingsRebuild.objects.update(state="queued")
    run_rebuild(StandingsRebuild.objects.get().pk)
    expect(page.get_by_text("Finished on")).to_be_visible()
    page.get_by_role("link", name="The standings", exact=True).click()
    expect(page.get_by_role("table")).to_contain_text("Rider 3")
