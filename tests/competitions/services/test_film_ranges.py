"""Ranges of bytes: RFC 9110, section 14."""

from __future__ import annotations

import pytest

from competitions.services.film_ranges import MOST_AT_ONCE, ByteRange, UnsatisfiableRange, asked_range

_LENGTH = 10_000  # the length of the examples in RFC 9110, 14.1.2


@pytest.mark.parametrize(
    ("header", "found"),
    [
        ("bytes=0-499", ByteRange(0, 499)),
        ("bytes=500-999", ByteRange(500, 999)),
        ("bytes=-500", ByteRange(9500, 9999)),
        ("bytes=9500-", ByteRange(9500, 9999)),
        ("bytes=-20000", ByteRange(0, 9999)),
        ("bytes=9999-20000", ByteRange(9999, 9999)),
        ("bytes=0-0,-1", None),
        ("bytes=5-2", None),
        ("lines=1-2", None),
        ("bytes=a-b", None),
        ("bytes=٣-", None),
        ("", None),
    ],
)
def test_what_is_asked_for(header: str, found: ByteRange | None) -> None:
    assert asked_range(header, length=_LENGTH) == found


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=10000-10001", "bytes=-0"])
def test_what_the_film_does_not_reach(header: str) -> None:
    with pytest.raises(UnsatisfiableRange):
        asked_range(header, length=_LENGTH)


def test_all_that_follows_comes_in_parts() -> None:
    length = 3 * MOST_AT_ONCE + 7
    place, parts = 0, []
    while place < length:
        part = asked_range(f"bytes={place}-", length=length)
        assert part is not None
        parts.append(part.last - part.first + 1)
        place = part.last + 1
    assert parts == [MOST_AT_ONCE] * 3 + [7]
    assert ByteRange(0, 9).content_range(20) == "bytes 0-9/20"
