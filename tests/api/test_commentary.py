"""A commentary laid on a sheet through the API."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.conftest import World, assert_refusal


def lay(world: World, text: Any, *, role: str = "judge", entry: int | None = None, seat: str = "C") -> Any:
    address = f"/api/v1/entries/{entry or world.entry.pk}/sheets/{seat}/commentary/"
    return world.client(role).post(address, {"text": text}, format="json")


def test_each_sentence_is_laid_and_the_sheet_stays_as_it_is(world: World) -> None:
    text = "WEBVTT\n\n00:03.000 --> 00:05.500\nStraight entry.\n\n01:20.000 --> 01:24.000\nOverall a pleasing pair.\n"
    answer = lay(world, text)
    assert answer.status_code == 200
    shown = answer.json()
    assert [(row["text"], row["start"], row["end"], row["item"]) for row in shown["sentences"]] == [
        ("Straight entry.", "3", "5.5", "1"),
        ("Overall a pleasing pair.", "80", "84", None),
    ]
    assert shown["alignment"]["format"] == "alignment/1"
    assert [row["index"] for row in shown["alignment"]["cues"]] == [0, 1]
    world.sheet.refresh_from_db()
    assert (world.sheet.version, world.sheet.remarks) == (1, {"1": "a private remark"})


@pytest.mark.parametrize("text", ["", " ", "\x00", "a\x07b", 5, None, ["Entry."], {}, "word " * 13_000])
def test_nonsense_is_refused_in_a_sentence(world: World, text: Any) -> None:
    assert_refusal(lay(world, text), 400)


def test_every_broken_line_is_named(world: World) -> None:
    body = assert_refusal(lay(world, "00:09 --> 00:04\nEntry.\n\n00:75 --> 00:80\nHalt.\n"), 400, "invalid")
    assert sorted(sentences[0].split(",")[0] for sentences in body["fields"].values()) == ["Line 1", "Line 4"]


def test_a_sheet_that_is_closed_is_refused(world: World) -> None:
    assert_refusal(lay(world, "Entry.", entry=world.official_entry.pk), 403)


def test_captions_are_webvtt_and_a_refusal_is_json(world: World) -> None:
    world.sheet.remark_times = {"1": 1500}
    world.sheet.save(update_fields=["remark_times"])
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/captions/"
    answer = world.client("judge").get(address, headers={"Accept": "text/vtt"})
    assert answer["Content-Type"] == "text/vtt; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert "1\n00:00:01.500 --> 00:00:03.700\na private remark\n" in answer.content.decode()
    assert_refusal(world.client("rider").get(address, headers={"Accept": "text/vtt"}), 404)
