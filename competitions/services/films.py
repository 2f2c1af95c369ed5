"""Whether a file is a film, by its bytes: MP4 and QuickTime (ISO/IEC 14496-12), WebM and Matroska (RFC 9559, RFC 8794).

Nothing is decoded. The outer structure is walked to its end, so that a file which was cut off, a picture, or music
without a picture is refused before a judge sits down in front of it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from riders.errors import InvalidInput

MP4, QUICKTIME, WEBM, MATROSKA = "video/mp4", "video/quicktime", "video/webm", "video/x-matroska"
EXTENSIONS = {MP4: "mp4", QUICKTIME: "mov", WEBM: "webm", MATROSKA: "mkv"}

_MOST_BOXES = 200_000
_FIRST_BOXES = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"}
_EBML, _DOC_TYPE, _SEGMENT = 0x1A45DFA3, 0x4282, 0x18538067
_TRACKS, _TRACK_ENTRY, _TRACK_TYPE, _CLUSTER = 0x1654AE6B, 0xAE, 0x83, 0x1F43B675
_VIDEO_TRACK = 1
_OF_PICTURES = b"\x01"
_LONGEST_DOC_TYPE = 16


class _Unreadable(Exception):  # noqa: N818 - never leaves this module
    """The structure ends, or says something that cannot be."""


def film_type(stream: BinaryIO) -> str:
    """Return the content type of a film, or raise ``InvalidInput`` with a sentence for whoever sent it."""
    head = _at(stream, 0, 16)
    try:
        if head[4:8] in _FIRST_BOXES:
            return _iso_type(stream)
        if head[:4] == _EBML.to_bytes(4, "big"):
            return _matroska_type(stream)
    except _Unreadable:
        raise InvalidInput(
            "The film is damaged or was cut off: its end is missing. Play it from start to end on your device, save it "
            "anew, and send it again.",
            code="film-damaged",
        ) from None
    raise InvalidInput(
        "This is no film that can be kept here. Send an MP4, QuickTime, WebM or Matroska file, as cameras and "
        "telephones write them.",
        code="no-film",
    )


def _no_picture() -> InvalidInput:
    return InvalidInput(
        "The file holds no moving picture, only sound, a still picture or nothing. Send the film of the ride.",
        code="no-film",
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """A box or an element: its kind, and where its content begins and ends."""

    kind: bytes | int
    begin: int
    end: int


def _at(stream: BinaryIO, place: int, number: int) -> bytes:
    stream.seek(place)
    return stream.read(number)


def _length(stream: BinaryIO) -> int:
    return stream.seek(0, os.SEEK_END)


# MP4 and QuickTime: boxes, each with a length of four or eight bytes and a kind of four letters


def _iso_type(stream: BinaryIO) -> str:
    brand, pictures, data = b"qt  ", False, False
    for box in _boxes(stream, 0, _length(stream)):
        if box.kind == b"ftyp":
            brand = _at(stream, box.begin, 4)
        elif box.kind == b"moov":
            pictures = any(_is_picture(stream, track) for track in _boxes(stream, box.begin, box.end))
        data = data or (box.kind in {b"mdat", b"moof"} and box.end > box.begin)
    if not pictures or not data:
        raise _no_picture()
    return QUICKTIME if brand == b"qt  " else MP4


def _boxes(stream: BinaryIO, begin: int, end: int) -> Iterator[_Part]:
    place = begin
    for _ in range(_MOST_BOXES):
        if place == end:
            return
        head = _at(stream, place, 16)
        if place + 8 > end or len(head) < 8:
            raise _Unreadable
        size, skipped = int.from_bytes(head[:4], "big"), 8
        if size == 1:
            size, skipped = int.from_bytes(head[8:16], "big"), 16
        if size == 0:
            size = end - place  # up to the end of the file
        if size < skipped or place + size > end:
            raise _Unreadable
        yield _Part(head[4:8], place + skipped, place + size)
        place += size
    raise _Unreadable


def _is_picture(stream: BinaryIO, track: _Part) -> bool:
    if track.kind != b"trak":
        return False
    media = (box for box in _boxes(stream, track.begin, track.end) if box.kind == b"mdia")
    handlers = (box for part in media for box in _boxes(stream, part.begin, part.end) if box.kind == b"hdlr")
    return any(_at(stream, box.begin + 8, 4) == b"vide" for box in handlers)


# WebM and Matroska: elements, each with a number and a length that say themselves how long they are


def _matroska_type(stream: BinaryIO) -> str:
    end = _length(stream)
    header, segment = None, None
    for element in _elements(stream, 0, end):
        if element.kind == _EBML:
            header = element
        elif element.kind == _SEGMENT:
            segment = element
            break
    kind = _doc_type(stream, header) if header else b""
    if kind not in {b"webm", b"matroska"} or segment is None or not _has_picture(stream, segment):
        raise _no_picture()
    return WEBM if kind == b"webm" else MATROSKA


def _doc_type(stream: BinaryIO, header: _Part) -> bytes:
    for element in _elements(stream, header.begin, header.end):
        if element.kind == _DOC_TYPE:
            return _at(stream, element.begin, min(element.end - element.begin, _LONGEST_DOC_TYPE)).rstrip(b"\0")
    return b""


def _has_picture(stream: BinaryIO, segment: _Part) -> bool:
    """Tell whether a segment has a track of pictures before its first cluster, and a cluster at all."""
    pictures = False
    for element in _elements(stream, segment.begin, segment.end):
        if element.kind == _TRACKS:
            tracks = [part for part in _elements(stream, element.begin, element.end) if part.kind == _TRACK_ENTRY]
            pictures = any(_is_video(stream, track) for track in tracks)
        elif element.kind == _CLUSTER:
            return pictures
    return False


def _is_video(stream: BinaryIO, track: _Part) -> bool:
    types = (part for part in _elements(stream, track.begin, track.end) if part.kind == _TRACK_TYPE)
    return any(_at(stream, part.begin, 8)[: part.end - part.begin] == _OF_PICTURES for part in types)


def _elements(stream: BinaryIO, begin: int, end: int) -> Iterator[_Part]:
    """Yield elements; one of unknown length, as a browser records it, lasts to the end of what it stands in."""
    place = begin
    for _ in range(_MOST_BOXES):
        if place == end:
            return
        head = _at(stream, place, 12)
        kind, first = _number(head, 0, most=4, marked=True)
        size, second = _number(head, first, most=8, marked=False)
        place += first + second
        unknown = size == (1 << (7 * second)) - 1
        last = end if unknown else place + size
        if last > end:
            raise _Unreadable
        yield _Part(kind, place, last)
        place = last
    raise _Unreadable


def _number(head: bytes, place: int, *, most: int, marked: bool) -> tuple[int, int]:
    """Read a number of one to ``most`` bytes and its width; ``marked``: with the bit that tells the width."""
    first = head[place] if place < len(head) else 0
    width = 9 - first.bit_length()
    if first == 0 or width > most or place + width > len(head):
        raise _Unreadable
    value = int.from_bytes(head[place : place + width], "big")
    return (value if marked else value & ((1 << (7 * width)) - 1)), width
