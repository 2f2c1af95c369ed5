"""Tests, competitions, tables and days as people say them, not as programs write them."""

from __future__ import annotations

import pytest
from django.test import Client

from competitions.models import Competition
from competitions.services.results import make_official
from riders.models import Rider, Score, Season
from tests.builders import (
    make_association,
    make_class,
    make_competition,
    make_season,
    make_user,
    mark_sheet,
    qualifying_scheme,
)
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db


@pytest.fixture
def season() -> Season:
    season = make_season(make_association())
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), mark=65)
    make_official(found, by=None)
    return season


def shown(address: str, **query: str) -> str:
    return Client().get(address, query).content.decode()


def test_scores_name_test_and_competition_by_their_titles(season):
    score = Score.objects.get()
    test = score.pair.entries.get().competition_class.test
    for page in (
        shown(f"/pairs/{score.pair_id}/"),
        shown("/associations/linden/2027/scores/", unit=score.pair.key),
    ):
        assert test.title in page
        assert "Linden Autumn Days" in page
        assert f">{test.key}<" not in page


def test_a_competition_in_preparation_keeps_its_title_to_itself():
    make_season(make_association())
    make_competition("show-1", state=Competition.State.PLANNED, title="Not yet announced")
    post(row(1, venue="Lindenhof"))
    assert "Not yet announced" not in shown("/associations/linden/2027/scores/", unit=row(1).pair.key)


def test_a_table_of_everybody_says_of_whom(season):
    make_season(season.association, slug="riders", scheme=qualifying_scheme(id="riders", unit="rider", group_by=[]))
    post(row(2))
    page = shown("/associations/linden/riders/")
    assert "<h2>All riders</h2>" in page
    assert ">All<" not in page


@pytest.fixture
def keeper() -> Client:
    user = make_user("keeper")
    make_association(keeper=user)
    client = Client()
    client.force_login(user)
    return client


def test_doubles_are_found_without_case_and_accents(keeper):
    Rider.objects.create(name="Ōna Lińd")
    Rider.objects.create(name="ona lind", registration="R-7")
    for asked in ("Ona", "lind", "ŌNA LIND"):
        page = keeper.get("/ledger/merges/", {"kind": "rider", "q": asked}).content.decode()
        assert "Ōna Lińd" in page
        assert "ona lind" in page
    page = keeper.get("/ledger/merges/", {"kind": "rider", "q": "r-7"}).content.decode()
    assert "ona lind" in page
    assert "Ōna Lińd" not in page


def test_days_of_a_file_are_written_out_and_nothing_chosen_is_said(keeper):
    Rider.objects.create(name="Una Lind")
    text = (
        "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
        "far/1/1,X1,Una Lint,Fen,novice,2026-11-01,far,1,64.500,completed\n"
    )
    address = keeper.post("/ledger/imports/", {"text": text, "source": "Far"})["Location"]
    page = keeper.get(address).content.decode()
    assert "1 Nov 2026" in page
    assert "2026-11-01" not in page
    refused = keeper.post(address, {"act": "names"})
    assert "Nothing was chosen. Say of a name who is meant" in refused.content.decode()
