"""Another name for a rider or horse: what shows it follows, files may use the name before, and back again."""

from __future__ import annotations

import pytest
from django.test import Client

from competitions.services.results import make_official
from reports.kinds import KINDS, PairSeason
from riders.errors import Conflict, InvalidInput
from riders.models import Membership, NameChange, Pair, Score
from riders.services.direct_imports import import_scores
from riders.services.renames import rename
from riders.services.standings import rebuild_standings
from tests.builders import (
    make_association,
    make_class,
    make_pair,
    make_season,
    make_user,
    mark_sheet,
    qualifying_scheme,
)

pytestmark = pytest.mark.django_db

FILE = (
    "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
    "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,1,64.500,completed\n"
)


def renamed(pair: Pair, name: str) -> NameChange:
    return rename(pair.rider, name=name, before=pair.rider.name, by=None, reason="married")


def test_boards_and_documents_of_its_classes_are_made_anew():
    found = make_class(entries=2)
    for entry in found.entries.all():
        mark_sheet(entry, mark=60 + 5 * int(entry.number))
    board = f"/competitions/{found.competition.slug}/{found.number}/"
    assert "Rider 1" in Client().get(board).content.decode()
    found.refresh_from_db()
    before = KINDS["results"].version(found)
    renamed(found.entries.get(number="1").pair, "Una Lind")
    found.refresh_from_db()
    assert KINDS["results"].version(found) != before
    page = Client().get(board).content.decode()
    assert "Una Lind" in page
    assert "Rider 1" not in page


def test_an_official_board_and_its_scores_follow_too():
    found = make_class(entries=1)
    mark_sheet(found.entries.get(), mark=65)
    make_official(found, by=None)
    figures = Score.objects.values_list("key", "percentage").get()
    renamed(found.entries.get().pair, "Una Lind")
    assert "Una Lind" in Client().get(f"/competitions/{found.competition.slug}/1/").content.decode()
    assert Score.objects.values_list("key", "percentage").get() == figures


@pytest.mark.parametrize("unit", ["pair", "rider"])
def test_standings_and_statement_follow_and_back(unit: str):
    import_scores(FILE, by=None)
    pair = Pair.objects.get()
    season = make_season(scheme=qualifying_scheme(require=[], eligible=[], unit=unit))
    rebuild_standings(season)
    statement = PairSeason(pair, season)
    before = KINDS["season-statement"].version(statement)
    page = f"/associations/{season.association.slug}/{season.slug}/"
    renamed(pair, "Una Lind-Moss")
    pair.refresh_from_db()
    assert KINDS["season-statement"].version(PairSeason(pair, season)) != before
    assert "Una Lind-Moss" in Client().get(page).content.decode()
    rename(pair.rider, name="Una Lind", before="Una Lind-Moss", by=None, reason="back")
    assert "Una Lind-Moss" not in Client().get(page).content.decode()
    assert season.rows.count() == 1


def test_a_file_may_use_the_name_before():
    import_scores(FILE, by=None)
    pair = Pair.objects.get()
    renamed(pair, "Una Moss")
    assert import_scores(FILE, by=None).unchanged == 1
    assert import_scores(FILE.replace("Una Lind", "Una Moss"), by=None).unchanged == 1
    with pytest.raises(InvalidInput):
        import_scores(FILE.replace("Una Lind", "Una Fell"), by=None)


@pytest.mark.parametrize("name", ["", "  ", "x" * 121, "a\x00b", "Rider 1"])
def test_a_name_that_cannot_be_kept_is_refused(name: str):
    with pytest.raises(InvalidInput):
        renamed(make_pair(1), name)
    assert not NameChange.objects.exists()


def test_a_name_that_was_changed_meanwhile_is_told():
    pair = make_pair(1)
    with pytest.raises(Conflict):
        rename(pair.rider, name="Una", before="Somebody", by=None, reason="x")


def test_on_the_page_by_those_whom_it_concerns():
    keeper, other = make_user("keeper"), make_user("other")
    association = make_association(keeper=keeper)
    make_association("moor", keeper=other)
    rider = make_pair(1).rider
    Membership.objects.create(association=association, number="1", kind="person", rider=rider, starts_on="2026-01-01")
    address = f"/ledger/riders/{rider.pk}/"
    form = {"name": "Una Lind", "before": "Rider 1", "reason": "misspelt"}
    client = Client()
    client.force_login(other)
    assert "concerns no association that you keep" in client.get(address).content.decode()
    assert client.post(address, form).status_code == 403
    client.force_login(keeper)
    refused = client.post(address, form | {"reason": ""})
    assert refused.status_code == 422
    assert 'value="Una Lind"' in refused.content.decode()
    assert "Rider 1 is now Una Lind" in client.post(address, form, follow=True).content.decode()
    assert client.post(address, form).status_code == 409
    assert client.get("/ledger/riders/999999/").status_code == 404
