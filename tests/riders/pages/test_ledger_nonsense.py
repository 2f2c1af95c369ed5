"""Nonsense for the pages of the ledger: never a fault, never somebody else's, and nothing done by it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from riders.models import Membership, Merge, NameChange, NameDecision, Rider, Score, User, WaitingImport
from riders.services.direct_imports import import_scores
from riders.services.matching import decide_name
from riders.services.merges import merge
from riders.services.waiting_imports import hand_in
from tests.builders import make_association, make_pair, make_user

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,level,date,competition,class,percentage,status,hors_concours"
FILE = f"{HEADER}\ns1,P104,Una Lind,Fen,novice,2026-11-01,spring,3,67.500,completed,false\n"
NONSENSE = [
    "",
    " ",
    "x" * 5000,
    "a\x00b",
    "\u202e",
    "-1",
    "9" * 40,
    "1e9",
    "٣",
    "<script>",
    "2026-99-99",
    "\udcff",
    "true",
]
FIELDS = [
    *("act", "source", "text", "digest", "state", "reason", "version", "percentage", "pair", "date", "judges", "name"),
    *("before", "kind", "kept", "gone", "member", "number", "division", "starts_on", "ends_on", "before-number"),
    *("kind-0", "spelling-0", "choice-0", "page", "what", "q"),
]
ACTS = ["", "confirm", "names", "correct", "change"]


@pytest.fixture
def keeper() -> User:
    user = make_user("keeper")
    make_association(keeper=user)
    return user


def pages(keeper: User) -> list[str]:
    import_scores(FILE, by=keeper)
    pair = make_pair(1)
    held = Membership.objects.create(
        association=keeper.association_roles.get().association,
        number="M1",
        kind="person",
        rider=pair.rider,
        starts_on=date(2026, 1, 1),
    )
    decision = decide_name(source="", kind="rider", spelling="X", member=pair.rider, by=keeper)
    done = merge(pair.rider, Rider.objects.create(name="Twin"), by=keeper, reason="the same")
    waiting = hand_in(FILE.replace("s1", "s2").replace("Una Lind", "U. Lind").replace("P104", "P9").encode(), by=keeper)
    return [
        f"/ledger/scores/{Score.objects.get().pk}/",
        "/ledger/imports/",
        f"/ledger/imports/{waiting.pk}/",
        f"/ledger/names/{decision.pk}/undo/",
        "/ledger/merges/plan/",
        f"/ledger/merges/{done.pk}/",
        f"/ledger/riders/{pair.rider_id}/",
        f"/ledger/horses/{pair.horse_id}/",
        "/ledger/members/linden/",
        f"/ledger/members/linden/{held.pk}/",
    ]


def state() -> list[Any]:
    return [
        *Score.objects.order_by("pk").values_list("percentage", "retracted_at", "pair"),
        *Membership.objects.order_by("pk").values_list("number", "starts_on", "ends_on", "rider"),
        NameChange.objects.count(),
    ]


@pytest.mark.parametrize("value", NONSENSE, ids=lambda value: repr(value)[:16])
@pytest.mark.parametrize("act", ACTS)
def test_every_field_of_every_form_filled_with_nonsense(client: Client, keeper: User, value: str, act: str):
    addresses = pages(keeper)
    before = state()
    client.force_login(keeper)
    sent = dict.fromkeys(FIELDS, value.encode("utf-8", "replace").decode()) | {"act": act}
    for address in addresses:
        if "/names/" not in address:
            assert client.get(address, sent).status_code < 500, address
        assert client.post(address, sent).status_code < 500, address
    assert state() == before


@pytest.mark.parametrize("name", ["scores.csv", "../../x", "a\x00b", "x" * 3000, "\u202e.csv"])
@pytest.mark.parametrize("content", [b"\x00" * 50, b"\xff\xfe", b"PK\x03\x04", FILE.encode() * 2, b"{" * 5000])
def test_uploads_of_nonsense(client: Client, keeper: User, name: str, content: bytes):
    client.force_login(keeper)
    response = client.post("/ledger/imports/", {"file": SimpleUploadedFile(name, content)}, follow=True)
    assert response.status_code in {200, 422}
    assert not Score.objects.exists()
    if WaitingImport.objects.exists():
        assert "cannot be imported while it has problems" in response.content.decode()


def test_another_keeper_finds_nothing_of_what_this_one_has(client: Client, keeper: User):
    addresses = pages(keeper)
    other = make_user("other")
    make_association("moor", keeper=other)
    before = state()
    client.force_login(other)
    for address in addresses:
        shown = client.get(address).status_code
        done = client.post(address, {"act": "retract", "reason": "x", "name": "Y", "before": "Una Lind"}).status_code
        if "members" in address:
            assert (shown, done) == (403, 403), address
        elif address in {"/ledger/imports/", "/ledger/merges/plan/"}:
            assert done in {404, 422}, address
        elif "/scores/" in address or "/riders/" in address or "/horses/" in address:
            assert (shown, done) == (200, 403), address
        else:
            assert done == 404, address
    assert state() == before
    assert not Merge.objects.filter(undone_at__isnull=False).exists()
    assert not NameDecision.objects.filter(undone_at__isnull=False).exists()
