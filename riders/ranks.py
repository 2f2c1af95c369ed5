"""The order of a table as bytes: what places are decided by, and the order among equals, for an index to keep.

Bytes compare as the rows stand, the first row lowest. A rank starts with its section (placed rows, then qualified ones
without a place, then the others) and holds every figure exactly: a multiple of a billionth, and where that is not all,
the rest in 96 binary places, which tell any two fractions with denominators up to 2**48 apart. Figures beyond that are
:class:`Unrankable`; such tables keep ordinal numbers instead, and are ranked anew as a whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

__all__ = [
    "FIRST_NOT_QUALIFIED",
    "FIRST_WITHOUT_A_PLACE",
    "LONGEST",
    "Unrankable",
    "figure",
    "is_ordinal",
    "is_placed",
    "name_order",
    "ordinal_rank",
    "place_rank",
    "rest_rank",
]

LONGEST = 1_500
"""So many bytes an index of either database takes with ease."""

_PLACED, _QUALIFIED, _OTHERS = b"\x01", b"\x02", b"\x03"
FIRST_WITHOUT_A_PLACE, FIRST_NOT_QUALIFIED = _QUALIFIED, _OTHERS
"""The lowest rank that has no place, and the lowest that does not meet the requirements: every lower one does."""
_FIGURES, _ORDINAL = b"\x01", b"\x00"
_DIGITS = re.compile(r"([0-9]+)")
_STEP = 10**9
_TURNED = bytes(range(255, -1, -1))


class Unrankable(Exception):  # noqa: N818 - no fault of the program: the figures are too fine, too large or too many
    """The figures do not fit into a rank."""


def figure(numerator: int, denominator: int = 1) -> bytes:
    """Write a fraction as bytes that sort as the fractions do.

    >>> figure(2, 3) < figure(667, 1000) < figure(1) < figure(-7, -2)
    True
    """
    if denominator < 0:
        numerator, denominator = -numerator, -denominator
    whole, rest = divmod(numerator * _STEP, denominator)
    if not -(2**62) < whole < 2**62:
        raise Unrankable
    head = (whole + 2**63).to_bytes(8, "big")
    if not rest:
        return head + b"\x00"
    if denominator > 2**48:
        raise Unrankable
    return head + b"\x01" + (rest * 2**96 // denominator).to_bytes(12, "big")


def place_rank(merit: bytes, ties: Iterable[Sequence[bytes]]) -> bytes:
    """Return the rank of a row with a place, from its figures as :func:`figure` writes them; higher ones come first."""
    keys = b"".join(b"".join(b"\x01" + part for part in key) + b"\x00" for key in ties)
    rank = _PLACED + _FIGURES + (merit + keys).translate(_TURNED)
    if len(rank) > LONGEST:
        raise Unrankable
    return rank


def rest_rank(merit: bytes | None, *, qualified: bool, tier_rank: int) -> bytes:
    """Return the rank of a row without a place: qualified ones by tier, then all by value, those without one last."""
    section = _QUALIFIED + _FIGURES + tier_rank.to_bytes(2, "big") if qualified else _OTHERS + _FIGURES
    return section + (b"\x01" if merit is None else b"\x00" + merit.translate(_TURNED))


def ordinal_rank(number: int, *, placed: bool) -> bytes:
    """Return a rank that says nothing but how manieth the row, or what it shares its place with, is."""
    return (_PLACED if placed else _OTHERS) + _ORDINAL + number.to_bytes(8, "big")


def is_placed(rank: bytes) -> bool:
    return rank[:1] == _PLACED


def is_ordinal(rank: bytes) -> bool:
    return rank[1:2] == _ORDINAL


def name_order(text: str) -> bytes:
    """Write a unit's name as bytes that sort 9 before 12, as ``scoring.season.ledger.natural_key`` does.

    >>> sorted(["P12", "P9", "A1", "P09"], key=name_order)
    ['A1', 'P09', 'P9', 'P12']
    """
    parts = []
    for index, part in enumerate(_DIGITS.split(text)):
        if index % 2 or (part and not part.isascii() and part.isdecimal()):
            plain = part.lstrip("0") or "0" if index % 2 else str(int(part))
            parts.append(f"\x01{chr(len(plain))}{plain}{part}\0")
        elif part:
            parts.append(f"\x02{part}\0")
    parts.append(f"\0{text}")
    return "".join(parts).encode()
