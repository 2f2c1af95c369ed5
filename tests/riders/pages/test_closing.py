"""The year-end page: closing, reopening, what came since, and what the public sees."""

from __future__ import annotations

import pytest
from django.urls import reverse

from riders.models import Season, SeasonChange, User
from riders.services.ledger import post_scores
from riders.transactions import write_transaction
from tests.builders import make_association, make_season, make_user
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> User:
    return make_user("keeper")


@pytest.fixture
def season(keeper: User) -> Season:
    season = make_season(make_association(keeper=keeper))
    with write_transaction():
        post_scores([row(n % 3 + 1, key=f"s{n}", competition=f"show-{n}") for n in range(9)], by=None)
    season.refresh_from_db()
    return season


def address(name: str = "season-closing", *more: object) -> str:
    return reverse(name, args=["linden", "2027", *more])


def send(client, season: Season, do: str = "close", **changes: str):
    season.refresh_from_db()
    sent = {"do": do, "version": str(season.version), "reason": "All results are in."} | changes
    return client.post(address(), sent, follow=True)


def test_closed_and_reopened_by_form(client, season, keeper):
    client.force_login(keeper)
    page = client.get(address()).content.decode()
    assert "Close the season" in page
    assert "The season runs until 30 September 2027." in page
    page = send(client, season).content.decode()
    assert "Season 2027 is closed. Its final lists are edition 1." in page
    assert "Closed, which made edition 1" in page
    assert "keeper: All results are in." in page
    assert "the ledger of this season is as it was counted" in page
    page = send(client, season, "reopen", reason="A score is missing.").content.decode()
    assert "Season 2027 is open again." in page
    assert "edition 1 was no longer final" in page
    season.refresh_from_db()
    assert season.closed_at is None


def test_the_public_is_told_which_edition_is_final(client, season, keeper):
    assert "edition" not in client.get(address("season")).content.decode()
    client.force_login(keeper)
    send(client, season)
    client.logout()
    page = client.get(address("season")).content.decode()
    assert "These are its final standings: edition 1" in page
    assert "Year-end" not in page


def test_changes_since_are_named_to_those_who_keep_the_season(client, season, keeper):
    client.force_login(keeper)
    send(client, season)
    assert "Nothing in the ledger of this season has changed" in client.get(address("season")).content.decode()
    with write_transaction():
        post_scores([row(1, key="s0", competition="show-0", percentage="71.000"), row(2, key="late")], by=None)
    said = "2 scores have changed since it was closed (1 added, 1 changed)."
    assert said in client.get(address("season")).content.decode()
    page = client.get(address()).content.decode()
    assert said in page
    assert "percentage: 65.000 → 71.000" in page
    client.logout()
    assert said not in client.get(address("season")).content.decode()


def test_what_was_typed_stays_when_it_is_refused(client, season, keeper):
    client.force_login(keeper)
    answer = send(client, season, version="0", reason="All <b>results</b>")
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "have changed since you looked" in page
    assert 'value="All &lt;b&gt;results&lt;/b&gt;"' in page


def test_two_who_close_at_once(client, season, keeper):
    client.force_login(keeper)
    send(client, season)
    answer = send(client, season)
    assert answer.status_code == 409
    assert "is closed already" in answer.content.decode()
    assert SeasonChange.objects.count() == 1


@pytest.mark.parametrize("version", ["", "x", "9" * 40, "-1", "\u0661"])
def test_a_version_that_is_none(client, season, keeper, version):
    client.force_login(keeper)
    assert send(client, season, version=version).status_code == 409


def test_who_may(client, season, keeper):
    assert client.get(address()).status_code == 302
    client.force_login(make_user("stranger"))
    assert client.get(address()).status_code == 403
    other = make_user("other")
    make_association("moor", keeper=other)
    client.force_login(other)
    assert client.get(address()).status_code == 403
    assert send(client, season).status_code == 403
    assert client.get(address("season-edition-scores", 1)).status_code == 403
    season.refresh_from_db()
    assert season.closed_at is None
    client.force_login(make_user("staff", is_staff=True))
    assert client.get(address()).status_code == 200


def test_the_counted_ledger_as_a_file(client, season, keeper):
    client.force_login(keeper)
    assert client.get(address("season-edition-scores", 1)).status_code == 404
    send(client, season)
    answer = client.get(address("season-edition-scores", 1))
    assert answer.content.decode().startswith("score_id,pair,rider,horse")
    assert 'filename="linden 2027 edition 1 scores.csv"' in answer["Content-Disposition"]


@pytest.mark.parametrize("number", [0, 2, 10**30])
def test_an_edition_that_is_none_is_not_found(client, season, keeper, number):
    client.force_login(keeper)
    send(client, season)
    assert client.get(address("season-edition-scores", number)).status_code == 404


def test_behind_a_row_of_a_closed_season_stands_what_was_counted(client, season, keeper):
    client.force_login(keeper)
    send(client, season)
    with write_transaction():
        post_scores([row(1, key="s0", competition="show-0", percentage="71.000")], by=None)
    client.logout()
    behind = client.get(address("season-unit"), {"unit": "R1/H1"}).content.decode()
    assert "65.000" in behind
    assert "71.000" not in behind
    beside = client.get(address("season-compare"), {"table": "0", "unit": "R1/H1"}).content.decode()
    assert "65.000" in beside
    assert "71.000" not in beside
