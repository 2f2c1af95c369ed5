"""Which bytes of a film a player asks for (RFC 9110, 14.2), and which it gets at once."""

from __future__ import annotations

import re
from dataclasses import dataclass

MOST_AT_ONCE = 1024 * 1024
_RANGE = re.compile(r"bytes=(?:(?P<first>\d{1,18})-(?P<last>\d{0,18})|-(?P<final>\d{1,18}))\Z", re.ASCII)


class UnsatisfiableRange(Exception):  # noqa: N818 - the name that the RFC gives it
    """The film does not reach so far."""


@dataclass(frozen=True, slots=True)
class ByteRange:
    """From ``first`` to ``last``, both included."""

    first: int
    last: int

    def content_range(self, length: int) -> str:
        return f"bytes {self.first}-{self.last}/{length}"


def asked_range(header: str, *, length: int) -> ByteRange | None:
    """Return what to send of a film: None for the whole of it, where nothing that we understand was asked for.

    A player that asks for all that follows gets a part of it and asks on (RFC 9110, 15.3.7, allows to send less): so no
    slow network holds one of the server's few threads for as long as a film lasts. Several ranges at once are not
    understood, and so ignored. Raises ``UnsatisfiableRange``.
    """
    found = _RANGE.match(header.strip())
    if found is None:
        return None
    if found["final"] is not None:
        wanted = int(found["final"])
        first, last = max(0, length - wanted), length - 1
        if wanted == 0:
            raise UnsatisfiableRange
    else:
        first = int(found["first"])
        last = min(int(found["last"]), length - 1) if found["last"] else length - 1
        if found["last"] and int(found["last"]) < first:
            return None
    if first >= length:
        raise UnsatisfiableRange
    return ByteRange(first, min(last, first + MOST_AT_ONCE - 1))
