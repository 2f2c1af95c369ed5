"""How well a piece of what was said fits each movement, from the words alone.

A movement has concepts, each to a degree in hundredths; a piece names some. For every concept that is named a movement
gains or loses against talk that names nothing, by how often a remark on a movement names what it has (``_Odds.has``)
and what it has not (``_Odds.lacks``), and how often talk of the whole ride names it (``_Odds.general``). All in
hundredths of natural logarithms; the odds are set by hand from common practice and tried on invented commentaries.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from scoring.commentary.generalities import general_words
from scoring.commentary.profiles import Profile
from scoring.commentary.vocabulary import mentions, stems

__all__ = ["LONGEST_PIECE", "Piece", "fit", "general_fit", "read_piece"]


@dataclass(frozen=True, slots=True)
class _Odds:
    has: int
    lacks: int
    general: int


_ODDS = {
    "figure": _Odds(210, -200, -170),
    "gait": _Odds(90, -140, -10),
    "pace": _Odds(140, -130, -90),
    "hand": _Odds(80, -90, -30),
    "letter": _Odds(180, -130, -150),
    "size": _Odds(140, -130, -120),
    "quality": _Odds(140, -120, -60),
    "order": _Odds(80, -90, -40),
    "pair": _Odds(70, -80, -60),
    "end": _Odds(200, -120, -40),
    "bare": _Odds(60, -70, -60),
    "number": _Odds(700, -300, -300),
}
LONGEST_PIECE = 600
_STRONG = ("figure", "gait", "pace", "letter", "size", "number")
_SOFT_FIGURES = frozenset(("figure:transition", "figure:turn", "figure:enter", "figure:lengthen", "figure:stretch"))
_OTHER_HAND = -140
_NOT_GENERAL = 110
_GENERAL_GAIN = (0, 70, 240, 320, 370, 400)
_HANDS = {"hand:left": "hand:right", "hand:right": "hand:left"}
_OPENING = re.compile(r"(?:now|next|then|and now|and then|on to|here|into|so here|first)\b")
_STAYING = re.compile(
    r"(?:but|also|otherwise|though|although|still|he|she|it|his|her|its|that|you|your|just|maybe|perhaps|could|needs?|lost"
    r"|good that|try|keep|let|not enough|no|only|a bit|a little|i'd|i would|well recovered|never mind|at least|which"
    r"|because|not)\b"
)
_LOOKING_BACK = re.compile(
    r"\b(?:going back|coming back to|back to the|sorry|i forgot|by the way|i should (?:add|say)|one more word"
    r"|one more thing|correction|wait|as i said|earlier|to return|about the .* before|before it|before that|i gave)\b"
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A sentence or clause read for its concepts. ``strong`` tells whether it names a movement at all."""

    concepts: frozenset[str]
    stems: frozenset[str]
    general: int
    strong: int
    opens: bool
    stays: bool
    looks_back: bool


def read_piece(text: str) -> Piece:
    """Read a sentence or clause for the concepts that it names; of a very long one only the beginning."""
    text = text[:LONGEST_PIECE]
    named = list(mentions(text))
    concepts = frozenset(mention.concept for mention in named)
    lowered = text.lower().lstrip(" \"'(")
    return Piece(
        concepts=concepts,
        stems=stems(text),
        general=general_words(text),
        strong=sum(concept.startswith(_STRONG) for concept in concepts),
        opens=_OPENING.match(lowered) is not None,
        stays=_STAYING.match(lowered) is not None,
        looks_back=_LOOKING_BACK.search(lowered) is not None,
    )


def fit(piece: Piece, profile: Profile) -> int:
    """Return what the words say for this movement, in hundredths of a natural logarithm; 0 is nothing either way."""
    total = 0
    for concept in piece.concepts:
        kind = concept.partition(":")[0]
        odds = _ODDS[kind]
        degree = profile.concepts.get(concept, 0)
        lacks = odds.lacks
        if concept in _SOFT_FIGURES:
            lacks = lacks // 2
        if kind == "number":
            degree = 100 if concept == f"number:{profile.item.id.lower()}" else 0
        if kind == "hand" and not degree:
            lacks = _OTHER_HAND if _HANDS[concept] in profile.concepts else -20
        if kind == "hand" and degree and _HANDS[concept] in profile.concepts:
            degree = 50
        if kind == "gait" and 0 < degree <= 50:
            lacks = -40
        total += (odds.has * degree + lacks * (100 - degree)) // 100
    shared = len(piece.stems & profile.stems)
    told = len(piece.stems & profile.directive - profile.stems)
    return total + min(30 * shared, 90) + min(25 * told, 75)


def general_fit(piece: Piece) -> int:
    """Return what the words say for the ride as a whole, on the scale of :func:`fit`."""
    total = sum(_ODDS[concept.partition(":")[0]].general for concept in piece.concepts)
    gain = _GENERAL_GAIN[min(piece.general, len(_GENERAL_GAIN) - 1)]
    return max(total, -330) + gain - (_NOT_GENERAL if not piece.general else 0)
