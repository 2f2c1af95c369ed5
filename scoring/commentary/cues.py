"""Reading spoken commentary: WebVTT, SRT or plain text, as dictation programs write it.

WebVTT is the W3C's "WebVTT: The Web Video Text Tracks Format"; SRT is
read by the same blocks with a comma in its times.
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from scoring.commentary.sentences import split_sentences
from scoring.documents import InvalidDocument, Problem

__all__ = ["LONGEST", "MOST_CUES", "Cue", "read_commentary"]

LONGEST = 4_000_000
MOST_CUES = 20_000

_TIME = r"(?:(\d{1,4}):)?(\d{1,2}):(\d{2})(?:[.,](\d{1,9}))?"
_TIME_LINE = re.compile(rf"[ \t]*{_TIME}[ \t]*-->[ \t]*{_TIME}(?:[ \t].*)?\Z", re.ASCII)
_STAMP = re.compile(rf"(?:\[{_TIME}\]|\({_TIME}\)|{_TIME}(?=\s))[ \t]*[-:\u2013]?[ \t]*", re.ASCII)
_HEADER = re.compile(r"WEBVTT(?:[ \t]|\Z)")
_ASIDE = re.compile(r"(?:NOTE|STYLE|REGION)(?:\s|\Z)")
_TAG = re.compile(r"<[^<>]*>|\{\\[^{}]*\}")
_LINE_END = re.compile(r"\r\n|\r|\n")
_BINARY = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f]")
_EXAMPLE = "00:01:05.500 --> 00:01:08.000"


@dataclass(frozen=True, slots=True)
class Cue:
    """What was said at one moment: ``index`` in the input from 0, ``start`` and ``end`` in seconds or None."""

    index: int
    start: Fraction | None
    end: Fraction | None
    text: str


def read_commentary(data: str | bytes) -> tuple[Cue, ...]:
    r"""Read WebVTT, SRT or plain text, whichever it is; raise :class:`InvalidDocument` with every problem found.

    A first line ``WEBVTT`` makes it WebVTT, a ``-->`` anywhere SRT, anything else plain text. Tags, notes, styles and
    settings are dropped; cues may overlap. In plain text each line that is not empty is a cue, with a time where it
    begins with one (``[1:05]``); a text of a single line has a cue for each of its sentences. Times are exact seconds.

    >>> read_commentary("WEBVTT\n\n01:01.500 --> 01:03.000\n<v Judge>Square halt.")
    (Cue(index=0, start=Fraction(123, 2), end=Fraction(63, 1), text='Square halt.'),)
    >>> [cue.text for cue in read_commentary("Square halt. Circle too large.")]
    ['Square halt.', 'Circle too large.']
    """
    text = _decoded(data)
    lines = _LINE_END.split(text)
    timed = _HEADER.match(lines[0]) or any("-->" in line for line in lines)
    cues = _Blocks(lines).read() if timed else _plain(lines)
    if len(cues) > MOST_CUES:
        message = f"The commentary has {len(cues)} cues, but at most {MOST_CUES} are read. Cut it into single rides."
        raise InvalidDocument([Problem("cues", message)])
    if not any(cue.text for cue in cues):
        raise InvalidDocument([Problem("", "The commentary holds no words. Give WebVTT, SRT or plain text.")])
    return cues


def _decoded(data: str | bytes) -> str:
    """Return normalised text without a byte order mark; refuse what no dictation writes."""
    if isinstance(data, bytes):
        encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
        try:
            data = data.decode(encoding)
        except UnicodeDecodeError as error:
            message = f"The commentary is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and try again."
            raise InvalidDocument([Problem("", message)]) from None
    if len(data) > LONGEST:
        message = (
            f"The commentary has {len(data)} characters, but at most {LONGEST} are read. Cut it into single rides."
        )
        raise InvalidDocument([Problem("", message)])
    binary = _BINARY.search(data)
    if binary:
        line = data.count("\n", 0, binary.start()) + 1
        message = f"Line {line} holds a control character, so this is not text. Give WebVTT, SRT or plain text."
        raise InvalidDocument([Problem("", message)])
    if any("\ud800" <= character <= "\udfff" for character in data):
        message = "The commentary holds half of a character (a lone surrogate). Write the whole character."
        raise InvalidDocument([Problem("", message)])
    return unicodedata.normalize("NFC", data.removeprefix("\ufeff"))


def _plain(lines: list[str]) -> tuple[Cue, ...]:
    spoken = [line.strip() for line in lines if line.strip()]
    if len(spoken) == 1:
        start, text = _stamped(spoken[0])
        sentences = split_sentences(text)
        return tuple(Cue(index, None if index else start, None, found) for index, found in enumerate(sentences))
    return tuple(Cue(index, *_plain_cue(line)) for index, line in enumerate(spoken))


def _plain_cue(line: str) -> tuple[Fraction | None, Fraction | None, str]:
    start, text = _stamped(line)
    return start, None, text


def _stamped(line: str) -> tuple[Fraction | None, str]:
    found = _STAMP.match(line)
    if not found:
        return None, _spaced(line)
    groups = found.groups()
    given = next(groups[first : first + 4] for first in (0, 4, 8) if groups[first + 1] is not None)
    start = _seconds(*given)
    return (None, _spaced(line)) if start is None else (start, _spaced(line[found.end() :]))


def _seconds(hours: str | None, minutes: str, seconds: str, part: str | None) -> Fraction | None:
    """Return the seconds of a time, None where minutes below an hour mark or seconds are 60 or more."""
    if int(seconds) > 59 or (hours is not None and int(minutes) > 59):
        return None
    whole = int(hours or 0) * 3600 + int(minutes) * 60 + int(seconds)
    return whole + Fraction(int(part), 10 ** len(part)) if part else Fraction(whole)


def _spaced(text: str) -> str:
    return " ".join(text.split())


class _Blocks:
    """WebVTT or SRT being read line by line; every problem is kept with the number of its line."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.vtt = _HEADER.match(lines[0]) is not None
        self.problems: list[Problem] = []
        self.cues: list[tuple[Fraction | None, Fraction | None, list[str]]] = []

    def read(self) -> tuple[Cue, ...]:
        for first, last in self._blocks():
            self._block(first, last)
        if self.problems:
            raise InvalidDocument(self.problems)
        return tuple(
            Cue(index, start, end, _spaced(html.unescape(_TAG.sub("", " ".join(text)))))
            for index, (start, end, text) in enumerate(self.cues)
        )

    def _blocks(self) -> list[tuple[int, int]]:
        """Return first line and line after the last of each block that may hold cues."""
        blocks, first = [], None
        for number, line in enumerate([*self.lines, ""]):
            if line.strip():
                first = number if first is None else first
            elif first is not None:
                blocks.append((first, number))
                first = None
        if self.vtt and blocks:
            blocks[0] = (self._after_header(*blocks[0]), blocks[0][1])
        return [(first, last) for first, last in blocks if first < last and not self._aside(first)]

    def _after_header(self, first: int, last: int) -> int:
        """Skip the header, whose lines end at the first time where the empty line after it is missing."""
        times = (number for number in range(first, last) if "-->" in self.lines[number])
        return next(times, last)

    def _aside(self, first: int) -> bool:
        return self.vtt and _ASIDE.match(self.lines[first]) is not None and "-->" not in self.lines[first]

    def _block(self, first: int, last: int) -> None:
        times = [number for number in range(first, last) if "-->" in self.lines[number]]
        if not times:
            self._loose(first, last)
            return
        for number, after in zip(times, [*times[1:], last], strict=True):
            self._cue(number, after, more=after != last)
        self._before(first, times[0])

    def _before(self, first: int, time_line: int) -> None:
        """Lines above the time of a block: one is the cue's identifier, more are words that would be lost."""
        if time_line - first > 1:
            message = f"Line {first + 1} stands before a cue without a time of its own. Give it one such as {_EXAMPLE}."
            self.problems.append(Problem(f"cues[{len(self.cues) - 1}]", message))

    def _cue(self, number: int, after: int, *, more: bool) -> None:
        text = self.lines[number + 1 : after]
        if more and text and text[-1].strip().isdecimal():
            text = text[:-1]
        self.cues.append((*self._times(number), text))

    def _times(self, number: int) -> tuple[Fraction | None, Fraction | None]:
        path, line = f"cues[{len(self.cues)}]", self.lines[number].strip()
        found = _TIME_LINE.match(line)
        start, end = (_seconds(*found.groups()[:4]), _seconds(*found.groups()[4:])) if found else (None, None)
        shown = line if len(line) <= 80 else line[:77] + "..."
        if start is None or end is None:
            message = f'Line {number + 1}, "{shown}", is not a pair of times. Write them such as {_EXAMPLE}.'
            self.problems.append(Problem(f"{path}.start", message))
        elif end < start:
            message = f'Line {number + 1}, "{shown}", ends before it starts. Correct one of the two times.'
            self.problems.append(Problem(f"{path}.end", message))
        return start, end

    def _loose(self, first: int, last: int) -> None:
        """Words without a time belong to the cue before, so that nothing said is lost; a bare number is nothing."""
        lines = [line for line in self.lines[first:last] if not line.strip().isdecimal()]
        if lines and self.cues:
            self.cues[-1][2].extend(lines)
        elif lines:
            message = f"Line {first + 1} stands before the first time. Give it a line such as {_EXAMPLE} above."
            self.problems.append(Problem("cues[0].start", message))
