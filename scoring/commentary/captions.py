"""Remarks as captions: WebVTT that a player shows over the recording of the ride.

The syntax is that of the W3C's "WebVTT: The Web Video Text Tracks Format".
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Caption", "captions_text"]

_SHORTEST = 2_000  # milliseconds
_LONGEST = 9_000
_BESIDE = 1_000  # the least that a caption stays, though the next one comes
_BEFORE_READING = 1_000
_A_WORD = 400


@dataclass(frozen=True, slots=True)
class Caption:
    """One remark: what it is about, its words, and its moment in milliseconds (None: it has none)."""

    about: str
    text: str
    at: int | None


def captions_text(captions: Sequence[Caption], *, title: str = "") -> str:
    r"""Write remarks as WebVTT: those with a moment as cues in its order, the others in a note, so that none is lost.

    A caption stays as long as its words take to read, from two to nine seconds, but makes room for the next after one.

    >>> print(captions_text([Caption("4", "Round & active.", 83_400), Caption("5", "A little late.", None)]))
    WEBVTT
    <BLANKLINE>
    NOTE Without a moment
    5: A little late.
    <BLANKLINE>
    4
    00:01:23.400 --> 00:01:25.600
    Round &amp; active.
    <BLANKLINE>
    """
    timed = sorted((caption.at, number) for number, caption in enumerate(captions) if caption.at is not None)
    blocks = [f"WEBVTT {_line(title)}".rstrip()]
    loose = [f"{_line(caption.about)}: {_line(caption.text)}" for caption in captions if caption.at is None]
    if loose:
        blocks.append("\n".join(["NOTE Without a moment", *loose]))
    for place, (begin, number) in enumerate(timed):
        following = timed[place + 1][0] if place + 1 < len(timed) else None
        caption = captions[number]
        times = f"{_clock(begin)} --> {_clock(_end(begin, caption.text, following))}"
        blocks.append(f"{_line(caption.about)}\n{times}\n{_line(caption.text)}")
    return "\n\n".join(blocks) + "\n"


def _end(begin: int, text: str, following: int | None) -> int:
    end = begin + min(max(_SHORTEST, _BEFORE_READING + _A_WORD * len(text.split())), _LONGEST)
    return end if following is None else max(min(end, following), begin + _BESIDE)


def _clock(milliseconds: int) -> str:
    seconds, rest = divmod(milliseconds, 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{rest:03d}"


def _line(text: str) -> str:
    """Put text on one line and escape it, so that no words of a remark are read as tags, times or another block."""
    return html.escape(" ".join(text.replace("\0", "").split()), quote=False)
