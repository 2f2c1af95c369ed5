"""The numbers of classes and entries and the letters of seats: short, printable, and fit to stand in an address."""

from __future__ import annotations

_TAKEN_BY_ADDRESSES = frozenset({"office", "rows"})
_BETWEEN = frozenset("-._")


def number_fault(number: str, *, what: str) -> str:
    """Say why ``number`` cannot be that of ``what`` (as in ``an entry``), or return nothing when it can.

    Letters and digits of any script, with hyphens, points and underscores between them: a stroke or a question mark
    would end the part of the address that it stands in.
    """
    good = number[:1].isalnum() and all(sign.isalnum() or sign in _BETWEEN for sign in number)
    if good and len(number) <= 10 and number.lower() not in _TAKEN_BY_ADDRESSES:
        return ""
    shown = number if len(number) <= 20 else number[:17] + "..."
    return f'"{shown}" cannot be the number of {what}. Use up to 10 letters and digits, such as 12 or 12a.'
