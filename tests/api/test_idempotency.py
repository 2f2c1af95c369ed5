from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from competitions.models import Entry, EntryChange, Judge, PublishedResults
from riders.api import idempotency
from riders.models import IdempotencyRecord
from tests.api.conftest import World, assert_refusal
from tests.api.test_permissions import TABLE, Row, filled

LOOK_ONLY = {"api-scheme-check", "api-season-preview", "api-sheet-commentary"}  # test_openapi names all without a key
WRITES = [row for row in TABLE if row.method not in {"GET", "DELETE"} and row.name not in {"api-tokens"} | LOOK_ONLY]


def enter(world: World, *, key: str = "k-1", number: str = "77", role: str = "office") -> Any:
    body = {"class": world.open_class.pk, "number": number, "pair": world.entry.pair_id}
    return world.client(role).post("/api/v1/entries/", body, format="json", headers={"Idempotency-Key": key})


def test_sent_again_it_is_done_once_and_answered_the_same(world: World) -> None:
    first, second = enter(world), enter(world)
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.content == second.content
    assert (first["ETag"], first["Location"]) == (second["ETag"], second["Location"])
    assert "Idempotency-Replayed" not in first
    assert second["Idempotency-Replayed"] == "true"
    assert second["Content-Type"] == "application/json"
    assert Entry.objects.filter(number="77").count() == 1
    assert EntryChange.objects.filter(entry__number="77").count() == 1


@pytest.mark.parametrize("row", WRITES, ids=lambda row: row.id)
def test_every_write_honours_the_key(world: World, row: Row) -> None:
    values = world.values()
    versions = world.versions()
    headers = {"Idempotency-Key": "k-1"}
    if row.version:
        headers["If-Match"] = f'"{versions[row.version]}"' if row.version in versions else row.version
    client = world.client("staff")
    kind = {"content_type": row.content_type} if row.content_type else {"format": "json"}
    send = getattr(client, row.method.lower())
    first, second = (
        send(f"/api/v1/{filled(row.url, values)}", filled(row.body, values), headers=headers, **kind) for _ in range(2)
    )
    assert 200 <= first.status_code < 300, first.content
    assert (second.status_code, second.content) == (first.status_code, first.content)
    assert second["Idempotency-Replayed"] == "true"


@pytest.mark.parametrize("changed", [{"number": "78"}, {"role": "staff"}])
def test_keys_belong_to_one_request_of_one_account(world: World, changed: dict[str, str]) -> None:
    assert enter(world).status_code == 201
    other = enter(world, **changed)
    if "number" in changed:
        assert_refusal(other, 422, "idempotency-mismatch")
    else:
        assert_refusal(other, 400, "invalid")  # the number is taken: another account's key says nothing here
    assert Entry.objects.filter(competition_class=world.open_class).count() == 4


def test_another_address_or_version_under_the_same_key_is_refused(world: World) -> None:
    client = world.client("office")
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/"
    headers = {"Idempotency-Key": "k-2", "If-Match": '"1"'}
    assert client.patch(address, {"signed": True}, format="json", headers=headers).status_code == 200
    assert client.patch(address, {"signed": True}, format="json", headers=headers).status_code == 200
    other = client.patch(address, {"signed": True}, format="json", headers=headers | {"If-Match": '"2"'})
    assert_refusal(other, 422, "idempotency-mismatch")
    elsewhere = client.post("/api/v1/judges/", {"signed": True}, format="json", headers={"Idempotency-Key": "k-2"})
    assert_refusal(elsewhere, 422, "idempotency-mismatch")


def test_a_refusal_is_not_kept(world: World) -> None:
    assert_refusal(enter(world, number="1"), 400, "invalid")
    assert IdempotencyRecord.objects.count() == 0
    assert enter(world, number="79").status_code == 201


def test_a_conflict_is_not_kept(world: World) -> None:
    client = world.client("office")
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/"
    stale = client.patch(
        address, {"signed": True}, format="json", headers={"Idempotency-Key": "k-3", "If-Match": '"9"'}
    )
    assert_refusal(stale, 412)
    assert IdempotencyRecord.objects.count() == 0


def test_effect_and_record_are_one_transaction(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """The answer is lost after the effect: the record is there, and the repetition does nothing."""

    def lost(*_: Any) -> None:
        raise RuntimeError("the line broke")

    with monkeypatch.context() as patched:
        patched.setattr(idempotency._Claim, "keep", lost)
        assert_refusal(enter(world), 500, "unexpected")
    assert Entry.objects.filter(number="77").count() == 1
    body = assert_refusal(enter(world), 409, "idempotency-unfinished")
    assert body["retry"] is True
    assert Entry.objects.filter(number="77").count() == 1


def test_effect_that_fails_leaves_no_record(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("in the middle")

    with monkeypatch.context() as patched:
        patched.setattr("competitions.services.entries.store_ride_times", broken)
        assert_refusal(enter(world), 500, "unexpected")
    assert IdempotencyRecord.objects.count() == 0
    assert Entry.objects.filter(number="77").count() == 0
    assert enter(world).status_code == 201


def test_official_twice_is_one_revision(world: World) -> None:
    client = world.client("office")
    address = f"/api/v1/classes/{world.official_class.pk}/"
    client.post(f"{address}correction/", {"reason": "a mark"}, format="json")
    answers = [client.post(f"{address}official/", {}, format="json", headers={"Idempotency-Key": "o"}) for _ in "ab"]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert PublishedResults.objects.filter(competition_class=world.official_class).count() == 2


def test_without_a_key_it_is_done_twice(world: World) -> None:
    client = world.client("office")
    answers = [client.post("/api/v1/judges/", {"name": name}, format="json") for name in ("Nils Berg", "Tove Ek")]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert Judge.objects.filter(name__in=["Nils Berg", "Tove Ek"]).count() == 2
    assert IdempotencyRecord.objects.count() == 0


def test_old_records_leave(world: World) -> None:
    enter(world)
    IdempotencyRecord.objects.update(created_at=timezone.now() - idempotency.KEPT_FOR - timedelta(minutes=1))
    enter(world, key="k-9", number="80")
    assert list(IdempotencyRecord.objects.values_list("key", flat=True)) == ["k-9"]


def test_a_secret_is_not_kept(world: World) -> None:
    response = world.client("office").post(
        "/api/v1/tokens/", {"name": "board"}, format="json", headers={"Idempotency-Key": "t"}
    )
    body = assert_refusal(response, 400, "invalid-idempotency-key")
    assert "secret" in body["message"]


def test_a_visitor_may_send_a_key(world: World) -> None:
    body = {"kind": "results", "target": world.official_class.pk}
    client = world.client("visitor")
    answers = [client.post("/api/v1/reports/", body, format="json", headers={"Idempotency-Key": "v"}) for _ in "ab"]
    assert [answer.status_code for answer in answers] == [202, 202]
    assert answers[0].json()["id"] == answers[1].json()["id"]


def test_the_record_holds_a_digest_of_the_body_not_the_body(world: World) -> None:
    enter(world)
    record = IdempotencyRecord.objects.get()
    assert len(record.digest) == len(hashlib.sha256().hexdigest())
    assert (record.method, record.path, record.status) == ("POST", "/api/v1/entries/", 201)
