"""Talk without any stop, cut where it comes to speak of another movement."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from scoring.commentary.vocabulary import mentions

__all__ = ["split_run_on"]

_LONGEST_SENTENCE = 24  # words; a judge's sentence is shorter, so one that is longer lacks its stops
_AHEAD = 240  # letters in which the next movement is looked for
_NAMING = ("figure:", "gait:", "letter:", "number:")
_SUMMING_UP = re.compile(
    r"\b(?:overall|altogether|all in all|in general|generally|on the whole|in summary)\b", re.IGNORECASE
)
_WORD = re.compile(r"\S+")
_LEADING = re.compile(
    r"(?:and|but|then|now|next|so|okay|ok|the|a|an|this|that|these|there|here|comes|goes?|into|to|at|in|onto?|up|down|with"
    r"|from|across|through|over|first|second|third|other|last|final|half|ten|twelve|fifteen|twenty|met(?:er|re)s?|left|right"
    r"|nice|good|lovely|better|medium|free|collected|working|extended|long|simple|flying|counter),?\Z",
    re.IGNORECASE,
)


def split_run_on(sentence: str) -> list[str]:
    """Cut a sentence of more than 24 words before each naming of a figure, a gait or a letter, and leave others whole.

    Words that lead up to the naming (``then the next``) go with it. What is cut too often does no harm: neighbours
    about the same movement are put together again.

    >>> split_run_on("Straight entry.")
    ['Straight entry.']
    >>> said = "a square halt " + "and he was very still and quiet " * 3 + "then the circle was large"
    >>> split_run_on(said)[-1]
    'then the circle was large'
    """
    words = list(_WORD.finditer(sentence))
    if len(words) <= _LONGEST_SENTENCE:
        return [sentence]
    cuts = [0, *_cuts(sentence, words), len(sentence)]
    pieces = (sentence[begin:end].strip() for begin, end in pairwise(cuts))
    return [piece for piece in pieces if piece]


def _cuts(sentence: str, words: list[re.Match[str]]) -> Iterator[int]:
    """Yield where a new movement is come to: a figure, or what is named a word or more behind the last naming."""
    starts = [word.start() for word in words]
    named = at = 0  # the word after the last naming, and where to look on
    figure = False
    while at < len(words):
        found = _naming(sentence[starts[at] : starts[at] + _AHEAD])
        if found is None:
            at += max(1, sentence.count(" ", starts[at], starts[at] + _AHEAD) // 2)
            continue
        begin, end = found[0] + starts[at], found[1] + starts[at]
        needed = 0 if figure and found[2] else 1
        figure = found[2]
        first = next(number for number in range(at, len(words)) if words[number].end() > begin)
        last = next(number for number in range(first, len(words)) if words[number].end() >= end)
        lead = first
        while lead > named and _LEADING.match(words[lead - 1].group()):
            lead -= 1
        if named and lead - named >= needed:
            yield starts[lead]
        named = at = last + 1


def _naming(text: str) -> tuple[int, int, bool] | None:
    """Return where the first naming of a movement or of the whole begins and ends, and whether it is a figure."""
    found = [
        (mention.start, mention.end, mention.concept.startswith("figure:"))
        for mention in mentions(text)
        if mention.concept.startswith(_NAMING)
    ]
    found += [(whole.start(), whole.end(), True) for whole in _SUMMING_UP.finditer(text)]
    return min(found, default=None)
