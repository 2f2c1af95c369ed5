"""The film of a ride through the API: in pieces, in ranges, and to nobody who may not see it."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest

from competitions.api.film_serving import WHOLE_AT_ONCE
from competitions.models import Recording
from tests.api.conftest import ROLES, World, assert_refusal
from tests.builders import mark_sheet
from tests.competitions.films import RIDE

SENDERS = {"rider", "office", "staff"}
VIEWERS = SENDERS | {"judge"}
CAMERA = {"camera_letter": "C", "camera_height": 250}


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def filmed(world: World) -> World:
    """Judge the open class from recordings; its entry 1 is ridden by the rider."""
    world.open_class.from_recordings = True
    world.open_class.save()
    world.sheet.delete()
    return world


def address(world: World, rest: str = "") -> str:
    return f"/api/v1/entries/{world.entry.pk}/recording/{rest}"


def begin(world: World, role: str = "rider", *, content: bytes = RIDE) -> Any:
    film = {"name": "../../ride 1\u202e.webm", "length": len(content), "modified": "1", **CAMERA}
    return world.client(role).post(address(world, "uploads/"), film)


def piece(world: World, key: str, first: int, last: int, *, role: str = "rider") -> Any:
    sent = {"Content-Range": f"bytes {first}-{last - 1}/{len(RIDE)}"}
    where = address(world, f"uploads/{key}/")
    return world.client(role).put(where, data=RIDE[first:last], content_type="application/octet-stream", headers=sent)


def whole(response: Any) -> bytes:
    """Read a film to its end, which closes the response as a server does."""
    return b"".join(response.streaming_content)


def send(world: World, role: str = "rider") -> dict[str, Any]:
    key = begin(world, role).json()["id"]
    for first in range(0, len(RIDE), 10_000):
        assert piece(world, key, first, min(first + 10_000, len(RIDE)), role=role).status_code == 200
    finished = world.client(role).post(address(world, f"uploads/{key}/finish/"))
    assert finished.status_code == 200, finished.content
    shown: dict[str, Any] = finished.json()
    return shown


def test_a_film_goes_in_by_pieces_and_out_by_ranges(filmed: World) -> None:
    begun = begin(filmed)
    assert begun.status_code == 201
    key = begun.json()["id"]
    assert begun["Location"] == address(filmed, f"uploads/{key}/")
    assert (begun.json()["arrived"], begun.json()["largest_piece"]) == (0, 4 * 1024 * 1024)
    assert piece(filmed, key, 0, 10_000).json()["arrived"] == 10_000
    assert_refusal(piece(filmed, key, 20_000, 20_100), 409)
    assert_refusal(filmed.client("rider").post(address(filmed, f"uploads/{key}/finish/")), 409)
    assert begin(filmed).json() == filmed.client("rider").get(address(filmed, f"uploads/{key}/")).json()
    shown = send(filmed)
    assert (shown["id"], shown["content_type"]) == (key, "video/webm")
    assert (shown["state"], shown["length"]) == ("kept", len(RIDE))
    assert (shown["digest"], shown["camera"]) == (hashlib.sha256(RIDE).hexdigest(), "at C, 2.50 m high")
    assert (shown["film"], shown["link"], shown["name"]) == (address(filmed, "film/"), None, "ride 1.webm")
    judge = filmed.client("judge")
    part = judge.get(shown["film"], headers={"Range": "bytes=100-"})
    assert (part.status_code, part.content) == (206, RIDE[100:])
    assert part["Content-Range"] == f"bytes 100-{len(RIDE) - 1}/{len(RIDE)}"
    assert part["Cache-Control"] == "private, no-cache"
    assert part["X-Content-Type-Options"] == "nosniff"
    assert part["Content-Type"] == "video/webm"
    assert part["Content-Disposition"] == 'inline; filename="class-1-number-1.webm"'
    changed = judge.get(shown["film"], headers={"Range": "bytes=0-9", "If-Range": '"other"'})
    copied = judge.get(shown["film"] + "?copy=1", headers={"Accept": "video/webm"})
    for answer in (changed, copied):
        assert (answer.status_code, whole(answer)) == (200, RIDE)
    assert copied["Content-Disposition"].startswith("attachment")
    assert copied["Content-Length"] == str(len(RIDE))
    assert judge.get(shown["film"], headers={"If-None-Match": copied["ETag"]}).status_code == 304
    beyond = judge.get(shown["film"], headers={"Range": f"bytes={len(RIDE)}-"})
    assert (beyond.status_code, beyond["Content-Range"]) == (416, f"bytes */{len(RIDE)}")


def test_who_sends_and_who_sees(filmed: World) -> None:
    send(filmed)
    key = str(Recording.objects.get().key)
    for role in ROLES:
        client = filmed.client(role)
        refused = 401 if role == "visitor" else 404
        for rest in ("", "film/"):
            response = client.get(address(filmed, rest))
            if role in VIEWERS:
                assert response.status_code == 200, (role, rest)
                assert not rest or whole(response) == RIDE
            else:
                assert_refusal(response, refused)
        if role in SENDERS:
            continue
        for response in (
            begin(filmed, role),
            client.get(address(filmed, f"uploads/{key}/")),
            piece(filmed, key, 0, 10, role=role),
            client.post(address(filmed, f"uploads/{key}/finish/")),
            client.delete(address(filmed, f"uploads/{key}/")),
            client.put(address(filmed), {"link": "https://films.example/1", **CAMERA}),
            client.put(address(filmed, "camera/"), CAMERA),
            client.delete(address(filmed)),
        ):
            assert_refusal(response, refused)
    assert Recording.objects.get().state == Recording.State.KEPT


@pytest.mark.parametrize("role", sorted(SENDERS))
def test_senders_do_everything(filmed: World, role: str) -> None:
    send(filmed, role)
    client = filmed.client(role)
    moved = client.put(address(filmed, "camera/"), {"camera_place": "in the stand"})
    assert moved.json()["camera"] == "in the stand"
    link = client.put(address(filmed), {"link": "https://films.example/1", **CAMERA})
    assert (link.json()["link"], link.json()["film"]) == ("https://films.example/1", None)
    assert_refusal(client.get(address(filmed, "film/")), 404)
    key = begin(filmed, role).json()["id"]
    assert client.delete(address(filmed, f"uploads/{key}/")).status_code == 204
    assert client.delete(f"{address(filmed)}?reason=wrong%00ride").status_code == 204
    assert_refusal(client.get(address(filmed)), 404)
    last = Recording.objects.get(link="https://films.example/1").changes.last()
    assert last is not None
    assert (last.action, last.reason) == ("deleted", "wrongride")


def test_after_a_judge_began_it_stays_and_says_why(filmed: World) -> None:
    send(filmed)
    mark_sheet(filmed.entry, marks={"1": 65})
    body = assert_refusal(begin(filmed), 403, "judging-begun")
    assert "A judge has begun with number 1" in body["message"]
    assert_refusal(filmed.client("office").delete(address(filmed)), 403, "judging-begun")


def test_a_film_of_another_entry_is_not_reached_through_ones_own(filmed: World) -> None:
    """The rider's own entry in the address does not open another's upload or film."""
    other = filmed.open_class.entries.get(number="2")
    theirs = filmed.client("office").post(
        f"/api/v1/entries/{other.pk}/recording/uploads/", {"name": "b", "length": len(RIDE), **CAMERA}
    )
    key = theirs.json()["id"]
    rider = filmed.client("rider")
    assert_refusal(rider.get(f"/api/v1/entries/{other.pk}/recording/uploads/{key}/"), 404)
    assert_refusal(rider.get(address(filmed, f"uploads/{key}/")), 404)
    assert_refusal(piece(filmed, key, 0, 100), 404)
    assert Recording.objects.get().length == len(RIDE)


@pytest.mark.parametrize(
    "said",
    [
        "",
        "bytes 0-98/10",
        f"bytes 0-9/{len(RIDE)}",
        f"bytes 99-0/{len(RIDE)}",
        f"bytes */{len(RIDE)}",
        "bytes \xb2-99/100",
        "x" * 5000,
    ],
)
def test_pieces_that_say_nonsense_are_refused(filmed: World, said: str) -> None:
    key = begin(filmed).json()["id"]
    where = address(filmed, f"uploads/{key}/")
    rider = filmed.client("rider")
    sent = {"Content-Range": said}
    assert_refusal(rider.put(where, data=RIDE[:100], content_type="application/octet-stream", headers=sent), 400)
    assert rider.get(where).json()["arrived"] == 0


def test_a_piece_too_large_or_of_another_kind_is_refused(filmed: World) -> None:
    key = begin(filmed).json()["id"]
    where = address(filmed, f"uploads/{key}/")
    large = b"x" * (4 * 1024 * 1024 + 1)
    rider = filmed.client("rider")
    assert_refusal(rider.put(where, data=large, content_type="application/octet-stream"), 413)
    assert_refusal(rider.put(where, {"a": 1}), 415)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"name": "a"},
        {"name": "a", "length": 0, **CAMERA},
        {"name": "a", "length": "12", **CAMERA},
        {"name": "a", "length": 2**60, **CAMERA},
        {"name": "a", "length": 2**50, **CAMERA},
        {"name": "a", "length": 12},
        {"name": "a", "length": 12, "camera_letter": "Z"},
        {"name": "a", "length": 12, "camera_letter": ["C"]},
        {"name": "a", "length": 12, "camera_place": "x", **CAMERA},
        {"name": "a", "length": 12, "camera_letter": "C", "camera_height": "2 m"},
        {"name": "a", "length": 12, "hight": 2, **CAMERA},
        {"name": "x" * 300, "length": 12, **CAMERA},
    ],
)
def test_announcements_that_say_nonsense_are_refused(filmed: World, body: dict[str, Any]) -> None:
    assert_refusal(filmed.client("rider").post(address(filmed, "uploads/"), body), 400)
    assert not Recording.objects.exists()


def test_whole_films_leave_threads_for_everybody_else(filmed: World) -> None:
    """Two at a time: who comes third is told to ask for ranges, and a response that is closed makes room."""
    shown = send(filmed)
    rider = filmed.client("rider")
    held = [rider.get(shown["film"]) for _ in range(WHOLE_AT_ONCE)]
    body = assert_refusal(rider.get(shown["film"]), 503, "busy")
    assert body["retry"] is True
    assert rider.get(shown["film"], headers={"Range": "bytes=0-9"}).status_code == 206
    assert whole(held[0]) == RIDE
    held.append(rider.get(shown["film"]))
    assert [whole(answer) for answer in held[1:]] == [RIDE] * WHOLE_AT_ONCE


@pytest.mark.parametrize("header", ["bytes=", "bytes=-", "bytes=1-2-3", "bytes=" + "9" * 400 + "-", "\0", "bytes=5-1"])
def test_a_range_that_says_nonsense_gets_the_whole_film(filmed: World, header: str) -> None:
    shown = send(filmed)
    answer = filmed.client("rider").get(shown["film"], headers={"Range": header})
    assert (answer.status_code, whole(answer)) == (200, RIDE)


def test_a_film_that_is_gone_from_the_disk_is_not_found(filmed: World, settings) -> None:
    shown = send(filmed)
    (settings.DATA_DIR / "recordings" / f"{shown['id']}.film").unlink()
    assert_refusal(filmed.client("rider").get(shown["film"]), 404)


def test_a_class_says_that_it_is_judged_from_recordings_and_its_sheets_from_where(world: World) -> None:
    office = world.client("office")
    where = f"/api/v1/classes/{world.open_class.pk}/"
    version = world.open_class.version
    changed = office.patch(where, {"from_recordings": True}, headers={"If-Match": f'"{version}"'})
    assert changed.json()["from_recordings"] is True
    assert_refusal(
        office.patch(where, {"from_recordings": "yes"}, headers={"If-Match": f'"{version + 1}"'}), 400, "invalid"
    )
    world.entry.recordings.create(state="kept", link="https://films.example/1", camera_place="in the stand")
    sheet = f"/api/v1/entries/{world.entry.pk}/sheets/C/"
    moments = {"times": {"1": 83400}, "remark_times": {"1": 85200}, "overall_time": 300000, "limited": ["1"]}
    saved = world.client("judge").patch(sheet, moments, headers={"If-Match": '"1"'}).json()
    assert {key: saved[key] for key in moments} == moments
    assert saved["filmed_from"] == "in the stand"
    assert (saved["lines"][0]["time"], saved["lines"][0]["limited"]) == (83400, True)
    for nonsense in ({"times": {"1": "83.4"}}, {"times": {"1": -1}}, {"overall_time": True}, {"limited": "1"}):
        assert_refusal(world.client("judge").patch(sheet, nonsense, headers={"If-Match": '"2"'}), 400, "invalid")
