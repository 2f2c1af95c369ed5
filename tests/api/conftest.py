from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest
from rest_framework.test import APIClient

from competitions.models import Championship, Competition, CompetitionClass, Entry, Judge, Sheet
from competitions.services.bundles import bundle_document
from competitions.services.keyings import choose_sheets
from competitions.services.results import make_official
from riders.models import Association, AssociationRole, Rider, Score, Season, User
from riders.services.accounts import create_token
from riders.services.corrections import version_of
from riders.services.ledger import ScoreRow, post_scores
from riders.services.scheme_versions import save_version
from riders.services.standings import rebuild_standings
from riders.transactions import write_transaction
from tests import builders

ROLES = ("visitor", "stranger", "rider", "judge", "office", "other office", "association", "staff")


@dataclass(frozen=True, slots=True)
class World:
    """One published competition with an open class and an official one, one planned competition, a season, everyone."""

    users: dict[str, User]
    competition: Competition
    planned: Competition
    open_class: CompetitionClass
    official_class: CompetitionClass
    planned_class: CompetitionClass
    entry: Entry
    official_entry: Entry
    championship: Championship
    bundle: dict[str, Any]
    sheet: Sheet
    association: Association
    season: Season
    score: Score
    imported_version: int

    def client(self, role: str) -> APIClient:
        """Return a client of one role, by token as programs have it."""
        client = APIClient(raise_request_exception=False)
        if role != "visitor":
            _, plain = create_token(self.users[role], name="tests")
            client.credentials(HTTP_AUTHORIZATION=f"Bearer {plain}")
        return client

    def versions(self) -> dict[str, int]:
        """Return the versions that changes in tables of operations are made from."""
        return {
            "class": self.open_class.version,
            "entry": self.entry.version,
            "imported": self.imported_version,
            "season": self.season.version,
        }

    def values(self) -> dict[str, Any]:
        """Return what addresses and bodies of tests name things by."""
        return {
            "slug": self.competition.slug,
            "planned": self.planned.slug,
            "class": self.open_class.pk,
            "official": self.official_class.pk,
            "planned_class": self.planned_class.pk,
            "entry": self.entry.pk,
            "free_entry": self.open_class.entries.get(number="3").pk,
            "official_entry": self.official_entry.pk,
            "championship": self.championship.pk,
            "bundle": self.bundle,
            "sheet": self.sheet.pk,
            "pair": self.entry.pair_id,
            "spare_pair": builders.make_pair(90).pk,
            "rider": self.entry.pair.rider_id,
            "twin": Rider.objects.get_or_create(name="Rider 1.", registration="")[0].pk,
            "imported": "elsewhere/4/7",
            "association": self.association.slug,
            "season": self.season.pk,
            "score": self.score.key,
            "test": self.open_class.test.key,
            "rules": self.open_class.rule_set.key,
            "judge": Judge.objects.get(user=self.users["judge"]).pk,
            "entries": list(self.open_class.entries.order_by("-number").values_list("pk", flat=True)),
        }


@pytest.fixture
def world(db: None) -> World:
    return build_world()


def build_world() -> World:
    users = {role: builders.make_user(role.replace(" ", "-")) for role in ROLES if role not in {"visitor", "staff"}}
    users["staff"] = builders.make_user("staff", is_staff=True)
    association = builders.make_association(keeper=users["association"])
    builders.make_pair(1, user=users["rider"])
    judge = Judge.objects.create(name="Iris Holm", user=users["judge"], grade="national")
    competition = builders.make_competition(office=users["office"], association=association)
    planned = builders.make_competition("linden-winter", state=Competition.State.PLANNED, office=users["office"])
    builders.make_competition("moor-summer", office=users["other office"], title="Moor Summer Show")
    open_class = builders.make_class(competition, seats="CE", entries=3, judges={"C": judge}, second_keying="chosen")
    official_class = builders.make_class(competition, number="2", entries=2, judges={"C": judge})
    planned_class = builders.make_class(planned)
    entry = open_class.entries.get(number="1")
    saved = builders.mark_sheet(entry, "C", mark=65, remarks={"1": "a private remark"}, overall_remarks="private words")
    choose_sheets(open_class, places={(entry.pk, saved.sheet.seat_id)}, by=users["office"])
    for official_entry, mark in zip(official_class.entries.order_by("number"), (70, 60), strict=True):
        builders.mark_sheet(official_entry, "C", mark=mark, remarks={"2": "kept between us"})
    make_official(official_class, by=users["office"])
    season = builders.make_season(association)
    save_version(
        builders.qualifying_scheme(decimals=1),
        association=association,
        based_on=1,
        by=users["association"],
        reason="one decimal is enough",
    )
    _post_elsewhere(official_class)
    rebuild_standings(season)
    season.refresh_from_db()
    open_class.refresh_from_db()
    entry.refresh_from_db()
    return World(
        users=users,
        competition=competition,
        planned=planned,
        open_class=open_class,
        official_class=official_class,
        planned_class=planned_class,
        entry=entry,
        official_entry=official_class.entries.get(number="1"),
        bundle=bundle_document(competition),
        championship=builders.make_championship(competition, classes=[official_class, open_class], by=users["office"]),
        sheet=saved.sheet,
        association=association,
        season=season,
        score=Score.objects.get(key="linden-autumn/2/1"),
        imported_version=version_of(Score.objects.get(key="elsewhere/4/7")),
    )


def _post_elsewhere(official_class: CompetitionClass) -> None:
    """Post a score of another show, so that a pair qualifies."""
    row = ScoreRow(
        key="elsewhere/4/7",
        source=Score.Source.IMPORT,
        pair=official_class.entries.get(number="1").pair,
        date=date(2026, 12, 5),
        competition="elsewhere",
        class_name="4",
        level="novice",
        status="completed",
        percentage="66.500",
        hors_concours=False,
        judges=["Nils Berg"],
    )
    with write_transaction():
        post_scores([row], by=None)


def keep_association(user: User, association: Association) -> None:
    AssociationRole.objects.get_or_create(user=user, association=association)


def assert_refusal(response: Any, status: int, code: str | None = None) -> dict[str, Any]:
    """Assert that a response is a refusal in the one shape, and return its body."""
    assert response.status_code == status, response.content[:500]
    assert response["Content-Type"] == "application/json"
    body: dict[str, Any] = response.json()
    assert set(body) - {"current"} == {"code", "message", "fields", "retry"}
    assert ("current" in body) == (status == 412)
    assert isinstance(body["retry"], bool)
    assert body["message"].endswith("."), body["message"]
    assert "_" not in body["code"]
    assert all(isinstance(sentences, list) and sentences for sentences in body["fields"].values())
    if code is not None:
        assert body["code"] == code
    return body
