from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from riders.errors import Conflict, InvalidInput
from riders.models import Membership, MembershipChange, Pair, Season
from riders.services.direct_imports import import_scores
from riders.services.memberships import (
    MembershipFields,
    add_membership,
    change_membership,
    membership_record,
    remove_membership,
)
from tests.builders import make_season, make_user, qualifying_scheme

pytestmark = pytest.mark.django_db

SCORES = (
    "score_id,pair,rider,horse,level,date,competition,class,percentage,status,hors_concours\n"
    "s1,P1,Una Lind,Fen,novice,2026-11-01,spring,3,67.500,completed,false\n"
)


def fields(**changes: Any) -> MembershipFields:
    return MembershipFields(
        **{"number": "M1", "division": "", "starts_on": date(2026, 10, 1), "ends_on": None} | changes
    )


@pytest.fixture
def season() -> Season:
    import_scores(SCORES, by=None)
    eligible = [{"field": "member", "is": True}]
    season = make_season(scheme=qualifying_scheme(require=[], eligible=eligible))
    other = Pair.objects.get().horse
    add_membership(season.association, member=other, fields=fields(number="H1"), by=None, reason="a horse of ours")
    return season


def counted(season: Season) -> int:
    return sum(len(row.counted) // 8 for row in season.rows)


def test_whether_a_ride_counts_follows_the_membership_on_its_day(season: Season):
    rider = Pair.objects.get().rider
    assert counted(season) == 0
    keeper = make_user("keeper")
    held = add_membership(season.association, member=rider, fields=fields(), by=keeper, reason="joined")
    assert counted(season) == 1
    record = membership_record(held)
    held = change_membership(
        held, fields=fields(starts_on=date(2026, 11, 2)), before=record, by=keeper, reason="joined a month later"
    )
    assert counted(season) == 0
    held = change_membership(
        held, fields=fields(ends_on=date(2026, 11, 1)), before=membership_record(held), by=keeper, reason="no, before"
    )
    assert counted(season) == 1
    remove_membership(held, before=membership_record(held), by=keeper, reason="somebody else's")
    assert counted(season) == 0
    history = MembershipChange.objects.filter(membership=held.pk or 0) | MembershipChange.objects.filter(by=keeper)
    assert [(change.before and change.before["from"], change.after and change.after["from"]) for change in history] == [
        ("2026-10-01", None),
        ("2026-11-02", "2026-10-01"),
        ("2026-10-01", "2026-11-02"),
        (None, "2026-10-01"),
    ]


def test_a_closed_season_stands(season: Season):
    Season.objects.filter(pk=season.pk).update(closed_at="2027-10-01T00:00:00Z")
    add_membership(season.association, member=Pair.objects.get().rider, fields=fields(), by=None, reason="joined")
    assert counted(season) == 0


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"number": ""}, "number"),
        ({"number": "x" * 41}, "number"),
        ({"number": "H1"}, "number"),
        ({"number": "a\x00"}, "number"),
        ({"division": "d" * 61}, "division"),
        ({"ends_on": date(2026, 1, 1)}, "ends_on"),
    ],
)
def test_what_cannot_be_is_told_under_its_field(season: Season, changes: dict[str, Any], where: str):
    with pytest.raises(InvalidInput) as refused:
        add_membership(
            season.association, member=Pair.objects.get().rider, fields=fields(**changes), by=None, reason="joined"
        )
    assert list(refused.value.fields) == [where]
    assert Membership.objects.count() == 1


def test_a_stale_change_is_refused(season: Season):
    held = Membership.objects.get()
    before = membership_record(held)
    change_membership(held, fields=fields(number="H2"), before=before, by=None, reason="renumbered")
    with pytest.raises(Conflict):
        change_membership(held, fields=fields(number="H3"), before=before, by=None, reason="renumbered")
    with pytest.raises(Conflict):
        remove_membership(held, before=before, by=None, reason="gone")
    held.refresh_from_db()
    with pytest.raises(InvalidInput, match="says that already"):
        change_membership(held, fields=fields(number="H2"), before=membership_record(held), by=None, reason="same")
