"""The sentences of a commentary one by one, each where it is laid: what a person looks through and corrects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.commentary.alignment import MOST_WORK, Laid, as_document, assignments, confidence_text, lay, seconds_text
from scoring.commentary.cues import Cue
from scoring.commentary.units import Unit
from scoring.testsheets import Test

__all__ = ["LaidSentence", "lay_sentences", "proposal"]

_STOPS = (".", "!", "?", "\u2026")
_BREATH = Fraction(1, 2)  # seconds; where captions follow each other faster, a sentence may run on


@dataclass(frozen=True, slots=True)
class LaidSentence:
    """A sentence, or a clause of one that speaks of two movements, and the item that it is about (None: the ride).

    ``start`` and ``end`` are seconds as in the input, None where they are not known; ``confidence`` is text from
    ``"0.00"`` to ``"0.99"``.
    """

    start: Fraction | None
    end: Fraction | None
    item: str | None
    confidence: str
    text: str

    def as_dict(self) -> dict[str, str | None]:
        return {
            "start": seconds_text(self.start),
            "end": seconds_text(self.end),
            "item": self.item,
            "confidence": self.confidence,
            "text": self.text,
        }


def lay_sentences(test: Test, cues: Sequence[Cue]) -> tuple[LaidSentence, ...]:
    """Lay every sentence of ``cues`` on the movement that it is about, in the order in which they were said.

    Where :func:`align` answers for cues, this answers for sentences: a cue of several sentences gives several, and a
    sentence that runs through several cues gives one. Clauses of one sentence about the same movement stay together.
    """
    return _sentences(cues, lay(test, cues))


def proposal(test: Test, cues: Sequence[Cue], *, most_work: int = MOST_WORK) -> dict[str, object]:
    """Return ``{"alignment": alignment/1, "sentences": [...]}``: the same answer for cues and for sentences.

    Raises :class:`InvalidDocument` where sentences times movements are more than ``most_work``.
    """
    laid = lay(test, cues, most_work=most_work)
    sentences = [sentence.as_dict() for sentence in _sentences(cues, laid)]
    return {"alignment": as_document(assignments(cues, laid)), "sentences": sentences}


def _sentences(cues: Sequence[Cue], laid: Laid) -> tuple[LaidSentence, ...]:
    by_index = {cue.index: cue for cue in cues}
    return tuple(_sentence(run, laid, by_index) for run in _runs(laid, by_index))


def _runs(laid: Laid, cues: Mapping[int, Cue]) -> list[range]:
    """Return the pieces of each sentence, apart where they are about different things."""
    runs: list[range] = []
    for number, unit in enumerate(laid.units):
        before = laid.units[number - 1] if number else None
        if before is not None and _goes_on(before, unit, cues) and laid.path[number] == laid.path[number - 1]:
            runs[-1] = range(runs[-1].start, number + 1)
        else:
            runs.append(range(number, number + 1))
    return runs


def _goes_on(before: Unit, unit: Unit, cues: Mapping[int, Cue]) -> bool:
    """Tell whether a piece goes on with the sentence of the piece before, in its cue or in the next without a pause."""
    if before.text.rstrip("\"')\u201d\u2019").endswith(_STOPS):
        return False
    if before.cues == unit.cues:
        return True
    ended, began = cues[before.cues[-1]].end, cues[unit.cues[0]].start
    no_pause = ended is not None and began is not None and abs(began - ended) <= _BREATH
    return no_pause and unit.cues[0] == before.cues[-1] + 1 and unit.text[:1].islower()


def _sentence(run: range, laid: Laid, cues: Mapping[int, Cue]) -> LaidSentence:
    units = [laid.units[number] for number in run]
    place = laid.path[run.start]
    return LaidSentence(
        start=units[0].start,
        end=_end(run.stop, units[-1], laid.units, cues),
        item=laid.item(place),
        confidence=confidence_text(sum(laid.parts[number][place] for number in run) // len(run)),
        text=" ".join(unit.text for unit in units),
    )


def _end(following: int, last: Unit, units: Sequence[Unit], cues: Mapping[int, Cue]) -> Fraction | None:
    """Return when the last piece ends: where the next of its cue begins, or with the cue."""
    if following < len(units) and units[following].cues == last.cues and units[following].start is not None:
        return units[following].start
    return cues[last.cues[-1]].end
