from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import connection

from competitions.models import Sheet, SheetRevision
from tests.api.conftest import World, assert_refusal, build_world
from tests.api.test_permissions import TABLE, Row, call, filled

VERSIONED = [row for row in TABLE if row.version]
CHANGES = [row for row in VERSIONED if row.method != "DELETE"]  # what is deleted twice is gone, see test_championships


def sheet_address(world: World, seat: str = "C") -> str:
    return f"/api/v1/entries/{world.entry.pk}/sheets/{seat}/"


@pytest.mark.parametrize("row", VERSIONED, ids=lambda row: row.id)
def test_a_change_needs_if_match(world: World, row: Row) -> None:
    client = world.client("staff")
    values = world.values()
    send = getattr(client, row.method.lower())
    response = send(f"/api/v1/{filled(row.url, values)}", filled(row.body, values), format="json")
    body = assert_refusal(response, 428, "precondition-required")
    assert 'If-Match: "7"' in body["message"]


@pytest.mark.parametrize("row", CHANGES, ids=lambda row: row.id)
def test_a_stale_change_gets_the_object_as_it_stands(world: World, row: Row) -> None:
    assert call(world, row, "staff").status_code == 200
    response = call(world, row, "staff")
    body = assert_refusal(response, 412, "conflict")
    assert body["retry"] is False
    address = filled(row.url, world.values())
    for part_of_it in ("outcome/", "teams/", "correction/", "retraction/", "closing/"):
        address = address.removesuffix(part_of_it)
    current = world.client("staff").get(f"/api/v1/{address}")
    assert body["current"] == current.json()
    assert response["ETag"] == current["ETag"]
    if not row.name.startswith("api-score"):  # a score's version is the number of its last change, and no field of it
        assert current["ETag"] == f'"{body["current"]["version"]}"'


def test_etag_is_the_version_and_moves_with_each_change(world: World) -> None:
    client = world.client("judge")
    first = client.get(sheet_address(world))
    assert (first["ETag"], first.json()["version"]) == ('"1"', 1)
    changed = client.patch(
        sheet_address(world), {"remarks": {"2": "rounder"}}, format="json", headers={"If-Match": first["ETag"]}
    )
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert changed.json() == client.get(sheet_address(world)).json()


def test_the_first_writing_names_version_0(world: World) -> None:
    client = world.client("office")
    empty = client.get(sheet_address(world, "E"))
    assert (empty["ETag"], empty.json()["id"], empty.json()["marks"]) == ('"0"', None, {})
    assert Sheet.objects.filter(entry=world.entry, seat__seat="E").count() == 0
    made = client.patch(sheet_address(world, "E"), {"marks": {"1": "6"}}, format="json", headers={"If-Match": '"0"'})
    assert (made.status_code, made["ETag"]) == (200, '"1"')
    again = client.patch(sheet_address(world, "E"), {"marks": {"1": "5"}}, format="json", headers={"If-Match": '"0"'})
    assert assert_refusal(again, 412)["current"]["marks"] == {"1": made.json()["marks"]["1"]}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("key", ["", "the same key"])
def test_of_many_at_once_one_wins(key: str) -> None:
    """Eight save from the same version: one is written, the others get 412 or, under one key, the same answer."""
    world = build_world()
    token = world.client("office")._credentials
    start = threading.Barrier(8)
    answers: list[tuple[int, Any]] = []

    def save(mark: int) -> None:
        client = type(world.client("visitor"))(raise_request_exception=False)
        client.credentials(**token)
        start.wait()
        headers = {"If-Match": '"1"'} | ({"Idempotency-Key": "k-1"} if key else {})
        value = "8" if key else f"{mark}"
        response = client.patch(sheet_address(world), {"marks": {"1": value}}, format="json", headers=headers)
        answers.append((response.status_code, response.json()))
        connection.close()

    threads = [threading.Thread(target=save, args=(mark,)) for mark in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    statuses = sorted(status for status, _ in answers)
    assert Sheet.objects.get(pk=world.sheet.pk).version == 2
    assert SheetRevision.objects.filter(sheet=world.sheet).count() == 2
    if key:
        assert set(statuses) <= {200, 409}
        assert statuses.count(200) >= 1
        bodies = [body for status, body in answers if status == 200]
        assert all(body == bodies[0] for body in bodies)
        assert {body["code"] for status, body in answers if status == 409} <= {"idempotency-unfinished"}
    else:
        assert statuses == [200] + [412] * 7
        (winner,) = (body for status, body in answers if status == 200)
        assert all(body["current"]["marks"] == winner["marks"] for status, body in answers if status == 412)
