"""Sentences and clauses of what was said, each with its share of the cue's time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from scoring.exact import Rounding, round_to_units

__all__ = ["share_of_time", "split_clauses", "split_sentences"]

_END = re.compile(r"[.!?\u2026]++[\"'\u201d\u2019)]*+(?=\s|\Z)")
_ABBREVIATION = re.compile(r"\b(?:no|nr|mov|approx|e\.g|i\.e|etc|vs|mr|mrs|ms|dr)\.\Z", re.IGNORECASE)
_CLAUSE = re.compile(
    r";\s+|\s[\u2013\u2014-]\s|,\s+(?=(?:and|but|while|whereas|though)\s+(?:then\b|the\b|this\b|that\b|in\b|on\b|now\b))"
    r"|,\s+(?=then\b)|\s+(?=and\s+then\s+)"
)


def split_sentences(text: str) -> list[str]:
    """Split at full stops, question and exclamation marks; decimals and common abbreviations do not end a sentence.

    >>> split_sentences("Six. Halt at X, no. 1, 6.5! Good")
    ['Six.', 'Halt at X, no. 1, 6.5!', 'Good']
    """
    found, begin = [], 0
    for end in _END.finditer(text):
        if not _ABBREVIATION.search(text, max(begin, end.end() - 8), end.end()):
            found.append(text[begin : end.end()].strip())
            begin = end.end()
    found.append(text[begin:].strip())
    return [sentence for sentence in found if sentence]


def split_clauses(sentence: str) -> list[str]:
    """Split a sentence where its grammar allows that a second movement begins.

    >>> split_clauses("The circle was round, but the halt was crooked.")
    ['The circle was round,', 'but the halt was crooked.']
    """
    found, begin = [], 0
    for mark in _CLAUSE.finditer(sentence):
        found.append(sentence[begin : mark.end()].strip())
        begin = mark.end()
    found.append(sentence[begin:].strip())
    return [clause for clause in found if clause]


def share_of_time(start: Fraction | None, end: Fraction | None, pieces: Sequence[str]) -> list[Fraction | None]:
    """Return when each piece of a cue starts, by its share of the letters, to the thousandth of a second.

    >>> share_of_time(Fraction(10), Fraction(20), ["Good.", "Bad ."])
    [Fraction(10, 1), Fraction(15, 1)]
    """
    if start is None or end is None:
        return [start, *[None] * (len(pieces) - 1)][: len(pieces)]
    letters = sum(map(len, pieces)) or 1
    starts: list[Fraction | None] = []
    said = 0
    for piece in pieces:
        moment = start + (end - start) * said / letters if said else start
        starts.append(Fraction(round_to_units(moment, decimals=3, rounding=Rounding.HALF_UP), 1000) if said else start)
        said += len(piece)
    return starts
