"""What counts as a film, by its bytes. Boxes: ISO/IEC 14496-12, 4.2 and 8.4.3; elements: RFC 8794, RFC 9559."""

from __future__ import annotations

import io
import random
from contextlib import suppress

import pytest

from competitions.services.films import EXTENSIONS, film_type
from riders.errors import InvalidInput
from tests.competitions.films import RIDE, box, matroska, mp4

_LONG_BOX = (1).to_bytes(4, "big") + b"mdat" + (16 + 4).to_bytes(8, "big") + b"data"
_ENDLESS_BOX = (0).to_bytes(4, "big") + b"mdat" + b"to the end"
_OLD_QUICKTIME = mp4()[mp4().index(b"moov") - 4 :]


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (RIDE, "video/webm"),
        (mp4(), "video/mp4"),
        (mp4(brand=b"qt  "), "video/quicktime"),
        (_OLD_QUICKTIME, "video/quicktime"),
        (mp4(data=b"") + _LONG_BOX, "video/mp4"),
        (mp4(data=b"") + _ENDLESS_BOX, "video/mp4"),
        (matroska(), "video/x-matroska"),
        (matroska(kind=b"webm"), "video/webm"),
    ],
)
def test_films_are_known_by_their_structure(content: bytes, kind: str) -> None:
    assert film_type(io.BytesIO(content)) == kind


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"MZ\x90\0" * 30,
        b"<html><script>alert(1)</script></html>",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 60,
        b"RIFF\0\0\0\0AVI LIST" + b"\0" * 60,
        b"\0\0\1\xba" + b"\0" * 60,
    ],
    ids=["nothing", "program", "page", "picture", "other container", "stream"],
)
def test_what_is_no_film_is_refused_with_what_to_send(content: bytes) -> None:
    with pytest.raises(InvalidInput, match="Send an MP4, QuickTime, WebM or Matroska file"):
        film_type(io.BytesIO(content))


@pytest.mark.parametrize(
    "content",
    [
        mp4(handler=b"soun"),
        mp4(data=b""),
        box(b"ftyp", b"heic\0\0\0\0") + box(b"meta", b"\0" * 20) + box(b"mdat", b"x" * 30),
        matroska(track=2),
        matroska(kind=b"other"),
    ],
    ids=["sound", "no data", "still picture", "sound track", "other document"],
)
def test_a_file_without_a_moving_picture_is_refused(content: bytes) -> None:
    with pytest.raises(InvalidInput, match="no moving picture"):
        film_type(io.BytesIO(content))


@pytest.mark.parametrize("content", [mp4()[:-1], mp4() + b"\0\0\0", matroska()[:-1], box(b"ftyp") + b"\0\0\0\3mdat"])
def test_a_film_that_was_cut_off_is_refused(content: bytes) -> None:
    with pytest.raises(InvalidInput, match="cut off"):
        film_type(io.BytesIO(content))


def test_no_bytes_make_it_fail_otherwise() -> None:
    """Mutations of real structures, and noise behind their signatures; the seed makes a failure repeatable."""
    chance = random.Random(20261125)
    for _ in range(3000):
        content = bytearray(chance.choice([mp4(), matroska(), RIDE[:400]]))
        for _ in range(chance.randint(1, 6)):
            content[chance.randrange(len(content))] = chance.randrange(256)
        with suppress(InvalidInput):
            assert film_type(io.BytesIO(bytes(content))) in EXTENSIONS
