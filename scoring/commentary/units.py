"""Cues cut into the pieces that are laid on movements: sentences, clauses, and sentences that run through cues."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.commentary.cues import Cue
from scoring.commentary.evidence import Piece, read_piece
from scoring.commentary.runons import split_run_on
from scoring.commentary.sentences import share_of_time, split_clauses, split_sentences

__all__ = ["Unit", "units_of"]

_MOST_BROKEN = 8
_MOST_RUN_ON = 20_000  # letters, some twenty minutes of talk; what is longer is not searched word by word
_MOST_CLAUSES = 12


@dataclass(frozen=True, slots=True)
class Unit:
    """A sentence, or a clause of one, and the cues that it stands in: mostly one, more where cues break a sentence."""

    cues: tuple[int, ...]
    begins: bool
    start: Fraction | None
    text: str
    piece: Piece


def units_of(cues: Sequence[Cue]) -> list[Unit]:
    """Cut cues into sentences, and a sentence into clauses where two of them name a movement."""
    units: list[Unit] = []
    cut = split_run_on if sum(len(cue.text) for cue in cues) <= _MOST_RUN_ON else _left_whole
    for group in _broken(cues):
        sentences = split_sentences(_joined(group))
        texts = [text for sentence in sentences for clause in _clauses(sentence) for text in cut(clause)]
        if len(group) > 1:
            units.append(
                Unit(
                    tuple(cue.index for cue in group),
                    True,
                    group[0].start,
                    " ".join(texts),
                    read_piece(" ".join(texts)),
                )
            )
            continue
        starts = share_of_time(group[0].start, group[0].end, texts)
        for number, (text, start) in enumerate(zip(texts, starts, strict=True)):
            units.append(Unit((group[0].index,), number == 0, start, text, read_piece(text)))
    return units


def _left_whole(clause: str) -> list[str]:
    return [clause]


def _joined(cues: Sequence[Cue]) -> str:
    return " ".join(cue.text for cue in cues)


def _broken(cues: Sequence[Cue]) -> list[list[Cue]]:
    """Put the cues together that one sentence runs through, where the text has full stops at all."""
    stopped = [cue.text.rstrip("\"')").endswith((".", "!", "?", "\u2026")) for cue in cues]
    punctuated = 2 * sum(stopped) > len(cues) or 3 * sum(cue.text[:1].islower() for cue in cues) < 2 * len(cues)
    groups: list[list[Cue]] = []
    for number, cue in enumerate(cues):
        goes_on = number > 0 and not stopped[number - 1] and cue.text[:1].islower() and len(groups[-1]) < _MOST_BROKEN
        if goes_on and punctuated and 4 * sum(stopped) >= len(cues):
            groups[-1].append(cue)
        else:
            groups.append([cue])
    return groups


def _clauses(sentence: str) -> list[str]:
    clauses = split_clauses(sentence)
    if not 2 <= len(clauses) <= _MOST_CLAUSES or sum(_names_movement(clause) for clause in clauses) < 2:
        return [sentence]
    joined: list[str] = []
    for clause in clauses:
        if joined and not (_names_movement(clause) and _names_movement(joined[-1])):
            joined[-1] += " " + clause
        else:
            joined.append(clause)
    return joined


def _names_movement(clause: str) -> bool:
    return any(concept.startswith(("figure:", "number:", "pair:")) for concept in read_piece(clause).concepts)
