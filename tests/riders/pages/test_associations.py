"""The page of an association: the seasons over the same days together, and the outlook of a rule that counts places."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from riders.services.ledger import post_scores
from riders.services.standings import rebuild_standings
from riders.transactions import write_transaction
from tests.builders import make_association, make_pair, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

POINTS = {
    "id": "points",
    "title": "Points by place",
    "require": [],
    "eligible": [],
    "score": [{"places": {"1": "5", "2": "3", "*": "1"}}],
    "value": {"take": {"best": 2}, "aggregate": "sum"},
    "decimals": 0,
}


def text_of(page: str) -> str:
    return " ".join(Client().get(page).content.decode().split())


def test_seasons_over_the_same_days_stand_together():
    association = make_association()
    make_season(association)
    make_season(association, slug="points", scheme=qualifying_scheme(**POINTS))
    page = text_of("/associations/linden/")
    assert page.count("<h3>") == 1
    assert "The scores of these days are counted in 2 ways." in page
    assert "Points by place: a table with places" in page


def test_an_association_without_a_season_says_so():
    make_association()
    assert "No season has been set up yet." in text_of("/associations/linden/")


def test_the_outlook_of_a_rule_that_counts_places_is_told_by_place(client: Client):
    """5 points stand; one more ride adds 5, 3 or 1, of which the best two count: 10, 8, 6."""
    user = make_user("rider")
    pair = make_pair(1, user=user)
    season = make_season(scheme=qualifying_scheme(**POINTS))
    with write_transaction():
        post_scores([row(1, pair=pair, placing=1, starters=4, date=date(2026, 11, 1))], by=None)
    rebuild_standings(season)
    client.force_login(user)
    page = client.get(f"/associations/{season.association.slug}/{season.slug}/outlook/{pair.pk}/").content.decode()
    assert "This rule counts places." in page
    cells = [cell for cell in ("10", "8", "6") if f'<td class="num">{cell}</td>' in page]
    assert cells == ["10", "8", "6"]
    assert "3 or lower" in page
