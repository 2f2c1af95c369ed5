"""Nonsense in the body, the address or the filters is refused in the one shape and never breaks anything."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.api.conftest import World, assert_refusal
from tests.api.test_permissions import TABLE, Row, filled

_DEEP = "[" * 100_000 + "]" * 100_000
BODIES: dict[str, bytes] = {
    "nothing": b"",
    "half": b'{"name": ',
    "text": b'"text"',
    "number": b"7",
    "null": b"null",
    "true": b"true",
    "list": b"[1, 2, 3]",
    "empty list": b"[]",
    "empty object": b"{}",
    "deep": _DEEP.encode(),
    "deep object": b'{"a":' * 60 + b"1" + b"}" * 60,
    "bad UTF-8": b'{"title": "\xff\xfe"}',
    "lone surrogate": b'{"title": "\\ud800", "name": "\\ud800", "document": {"id": "\\udfff"}}',
    "null character": b'{"title": "a\\u0000b", "name": "a\\u0000b", "reason": "a\\u0000b"}',
    "not a number": b'{"number": NaN}',
    "infinity": b'{"number": -Infinity}',
    "repeated key": b'{"name": "a", "name": "b"}',
    "endless integer": b'{"number": ' + b"9" * 5000 + b"}",
    "huge exponent": b'{"number": 1e999999999, "entry": 1e999999999}',
    "long text": b'{"title": "' + b"x" * 100_000 + b'", "name": "' + b"x" * 100_000 + b'"}',
}
# A file or document that says nothing may be no mistake: nothing is then done.
HARMLESS = {"no rows", "nothing", "empty object"}
WRITES = [row for row in TABLE if row.method != "GET" and row.body is not None and not row.content_type]
# A file of scores that is handed in to be looked at is answered with what is wrong with it: see test_ledger.
FILES = [row for row in TABLE if row.content_type and row.name != "api-imports"]
CSV_FILES: dict[str, bytes] = {
    "nothing": b"",
    "bad UTF-8": b"class,number\n\xff,\xfe\n",
    "null character": b"class,number\n1,\x00\n",
    "one column": b"class\n1\n",
    "no rows": b"class,number\n",
    "unknown columns": b"a,b,c\n1,2,3\n",
    "open quotation": b'class,number\n"1,2\n',
    "json": b'{"class": 1}',
    "long cell": b"class,number\n" + b"9" * 200_000 + b",2\n",
    "huge figures": b"class,number,seat,item,mark,remark\n1,2,C,1,1e999999999,x\n1,2,C,1,99999999999999999999,x\n",
    "surrogate bytes": b"class,number\n\xed\xa0\x80,2\n",
}


def _send(world: World, row: Row, body: bytes, **headers: str) -> Any:
    values = world.values()
    versions = world.versions()
    if row.version:
        headers["If-Match"] = f'"{versions[row.version]}"' if row.version in versions else row.version
    client = world.client("staff")
    address = f"/api/v1/{filled(row.url, values)}"
    content_type = row.content_type or "application/json"
    return getattr(client, row.method.lower())(address, data=body, content_type=content_type, headers=headers)


@pytest.mark.parametrize("row", WRITES, ids=lambda row: row.id)
def test_nonsense_bodies(world: World, row: Row) -> None:
    for name, body in BODIES.items():
        response = _send(world, row, body)
        if response.status_code < 400:
            assert name in HARMLESS, (name, response.content[:300])
        else:
            nothing_left = name in HARMLESS and response.status_code == 412  # the one before has moved the version
            assert response.status_code == 400 or nothing_left, (name, response.status_code, response.content[:300])
            assert_refusal(response, response.status_code)


@pytest.mark.parametrize("row", WRITES, ids=lambda row: row.id)
def test_every_field_of_every_wrong_type(world: World, row: Row) -> None:
    values: list[Any] = [
        None,
        True,
        0,
        -1,
        2**70,
        6.5,
        "",
        "x" * 400,
        [],
        [None],
        [[]],
        {},
        {"a": {"b": []}},
        "\u202e",
        "1e5",
    ]
    for key in row.body:
        for value in values:
            body = json.dumps({**filled(row.body, world.values()), key: value}).encode()
            response = _send(world, row, body)
            assert response.status_code < 500, (key, value, response.content[:300])
            if response.status_code >= 400:
                assert_refusal(response, response.status_code)
            world.open_class.refresh_from_db()
            world.entry.refresh_from_db()


@pytest.mark.parametrize("row", FILES, ids=lambda row: row.id)
def test_nonsense_files(world: World, row: Row) -> None:
    for name, content in CSV_FILES.items():
        response = _send(world, row, content)
        if response.status_code < 400:
            assert name == "no rows", (name, response.content[:300])
        else:
            assert_refusal(response, 400)


@pytest.mark.parametrize(
    "body",
    [
        {"marks": {"1": 6.5}},
        {"marks": {"1": 7}},
        {"marks": {"1": "7"}},
    ],
    ids=str,
)
def test_marks_as_numbers_are_read_exactly(world: World, body: dict[str, Any]) -> None:
    response = world.client("office").patch(
        f"/api/v1/entries/{world.entry.pk}/sheets/C/",
        data=json.dumps(body),
        content_type="application/json",
        headers={"If-Match": '"1"'},
    )
    assert response.status_code == 200
    assert response.json()["marks"]["1"] in {"6.5", "7", "7.0"}


@pytest.mark.parametrize(
    "mark", ["6.50000000000000001", 6.3, "6,5", "six", "", "1e1", "-1", "10.5", 11, True, [], {}, 10**30, "٦"]
)
def test_marks_off_the_scale_are_refused_with_their_item(world: World, mark: Any) -> None:
    response = world.client("office").patch(
        f"/api/v1/entries/{world.entry.pk}/sheets/C/",
        {"marks": {"2": mark}, "remarks": {"2": "kept back"}},
        format="json",
        headers={"If-Match": '"1"'},
    )
    body = assert_refusal(response, 400)
    assert list(body["fields"]) == ["marks.2"]
    world.sheet.refresh_from_db()
    assert (world.sheet.version, world.sheet.remarks) == (1, {"1": "a private remark"})


@pytest.mark.parametrize(
    "address",
    [
        "competitions/?date_from=yesterday",
        "competitions/?state=open",
        "competitions/?title__regex=(a%2B)%2B",
        "classes/?date=2026-13-01",
        "classes/?competition=%00",
        "entries/?class=abc",
        "entries/?class=99999999999999999999999999",
        "entries/?status=flying",
        "entries/?pair=1;drop",
        "scores/?retracted=perhaps",
        "scores/?date_from=0000-00-00",
        "sheets/?signed=",
        "sheets/?class=1e9",
        "reports/?kind=poster",
        "entries/?page=0",
        "entries/?page=two",
        "entries/?page=99999999999999999999",
        "entries/?page_size=-5",
        "scores/?search=x",
        "scores/?order_by=rider",
        "classes/99999999999999999999999/",
        "entries/99999999999999999999999/",
        "entries/99999999999999999999999/sheets/C/",
        "scores/%00/",
        "tests/%00/",
        "scores/?competition=%ff%fe",
    ],
)
def test_nonsense_addresses_and_filters(world: World, address: str) -> None:
    response = world.client("staff").get(f"/api/v1/{address}")
    assert response.status_code < 500, response.content
    if response.status_code >= 400:
        assert_refusal(response, response.status_code)
    else:
        assert response.json()["count"] >= 0


@pytest.mark.parametrize("tag", ["7", 'W/"1"', '"1", "2"', "*", '"x"', '""', '"99999999999"', "\u00e4"])
def test_nonsense_if_match(world: World, tag: str) -> None:
    response = world.client("office").patch(
        f"/api/v1/entries/{world.entry.pk}/sheets/C/", {"signed": True}, format="json", HTTP_IF_MATCH=tag
    )
    assert_refusal(response, 400, "invalid-if-match")


@pytest.mark.parametrize("key", ["", " ", "a b", "x" * 121, "\u00e4\u00f6"])
def test_nonsense_idempotency_key(world: World, key: str) -> None:
    response = world.client("office").post(
        "/api/v1/judges/", {"name": "Nils Berg"}, format="json", HTTP_IDEMPOTENCY_KEY=key
    )
    assert_refusal(response, 400, "invalid-idempotency-key")
