"""Spoken commentary laid on one seat's sheet, as a proposal: nothing is written, and the text is kept nowhere."""

from __future__ import annotations

from dataclasses import replace

from competitions.models import PanelSeat
from competitions.selectors.documents import items_of_seat, test_of
from riders.errors import InvalidInput
from scoring import InvalidDocument, commentary

LONGEST_COMMENTARY = 60_000
_MOST_WORK = 60_000
_PROBLEMS_SHOWN = 50


def commentary_proposal(seat: PanelSeat, text: str) -> dict[str, object]:
    """Return the alignment of a commentary with the movements that a seat marks, and its sentences one by one.

    Raises ``InvalidInput`` with every problem of the text, each with the number of its line.
    """
    if len(text) > LONGEST_COMMENTARY:
        raise InvalidInput(
            f"The commentary has {len(text):,} characters; at most {LONGEST_COMMENTARY:,} are read, which is more than "
            "an hour of talk. Give the part about this ride.",
            code="too-long",
        )
    test = test_of(seat.competition_class)
    try:
        cues = commentary.read_commentary(text)
        return commentary.proposal(replace(test, items=items_of_seat(test, seat)), cues, most_work=_MOST_WORK)
    except InvalidDocument as error:
        problems = [(f"text.{found.path}".rstrip("."), found.message) for found in error.problems[:_PROBLEMS_SHOWN]]
        count = len(error.problems)
        sentence = f"{count} things in the text cannot be read." if count > 1 else problems[0][1]
        raise InvalidInput(sentence, problems=problems) from None
