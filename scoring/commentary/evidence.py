"""How well a piece of what was said fits each movement, from the words alone.

A movement has concepts, each to a degree in hundredths; a piece names some. For every concept that is named a movement
gains or loses against the talk that names nothing, by how often a remark on a movement names what it has (``_Odds.has``)
and what it has not (``_Odds.lacks``), and how often talk of the whole ride names it (``_Odds.general``). All in
hundredths of natural logarithms; the odds are set by hand from common practice and tried on invented commentaries.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from scoring.commentary.vocabulary import (
    FAMILY_FIGURES,
    QUALITIES_OF,
    general_words,
    mentions,
    stems,
)
from scoring.testsheets import Item, Test

__all__ = ["LONGEST_PIECE", "Piece", "Profile", "fit", "general_fit", "movements", "read_piece"]


@dataclass(frozen=True, slots=True)
class _Odds:
    has: int
    lacks: int
    general: int


_ODDS = {
    "figure": _Odds(180, -200, -140),
    "gait": _Odds(90, -140, -30),
    "pace": _Odds(140, -130, -90),
    "hand": _Odds(80, -90, -60),
    "letter": _Odds(180, -130, -150),
    "size": _Odds(140, -130, -120),
    "quality": _Odds(110, -90, -60),
    "order": _Odds(80, -60, -40),
    "end": _Odds(200, -120, -40),
    "bare": _Odds(60, -70, -60),
    "number": _Odds(700, -300, -300),
}
LONGEST_PIECE = 600
_STRONG = ("figure", "gait", "pace", "letter", "size", "number")
_SOFT_FIGURES = frozenset(("figure:transition", "figure:turn", "figure:enter", "figure:lengthen", "figure:stretch"))
_NOT_GENERAL = 110
_GENERAL_GAIN = (0, 70, 200, 310, 360, 400)
_TOLD = frozenset(
    f"figure:{figure}" for figure in ("take-reins", "stretch", "strike-off", "rein-back", "counter-canter")
)
_NO_TRANSITIONS = frozenset(
    f"figure:{figure}"
    for figure in (
        "circle", "turn", "loop", "diagonal", "shoulder-in", "half-pass", "leg-yield", "travers", "renvers", "lengthen",
        "stretch", "rein-back", "haunches", "pirouette", "change", "piaffe", "passage", "enter", "halt", "centre-line",
    )  # fmt: skip
) | {"pace:free", "pace:extended"}
_HANDS = {"hand:left": "hand:right", "hand:right": "hand:left"}
_OPENING = re.compile(r"(?:now|next|then|and now|and then|on to|here|into|so here|first)\b")
_STAYING = re.compile(
    r"(?:but|also|otherwise|though|although|still|he|she|it|his|her|its|that|you|your|just|maybe|perhaps|could|needs?|lost|good that|"
    r"try|keep|let|not enough|no|only|a bit|a little|i'd|i would|well recovered|never mind|otherwise|at least|which|because|not)\b"
)
_LOOKING_BACK = re.compile(
    r"\b(?:going back|coming back to|back to the|sorry|i forgot|by the way|i should (?:add|say)|one more word|one more thing|"
    r"correction|wait|as i said|earlier|to return|about the .* before|before it|before that|i gave)\b"
)


@dataclass(frozen=True, slots=True)
class Profile:
    """What a movement is: its concepts, to degrees in hundredths, and the stems of its words."""

    item: Item
    concepts: Mapping[str, int]
    stems: frozenset[str]
    directive: frozenset[str]


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


@lru_cache(maxsize=64)
def movements(test: Test) -> tuple[Profile, ...]:
    """Return the profiles of a test's movements in the order of the sheet; collective marks are none."""
    items = [item for item in test.items if not item.collective]
    found: list[Profile] = []
    gaits: set[str] = set()
    for item in items:
        concepts = _concepts_of(item, gaits)
        gaits = {
            concept for concept, degree in concepts.items() if concept.startswith("gait:") and degree > 50
        } or gaits
        found.append(Profile(item, concepts, stems(item.text), stems(item.directive)))
    return tuple(_ordered(found))


def _concepts_of(item: Item, gaits_before: set[str]) -> dict[str, int]:
    concepts: dict[str, int] = {}
    for number, clause in enumerate(re.split(r"(?<=[.:;])\s+", item.text)):
        degree = 55 if re.match(r"(?:before|proceed|take up)\b", clause.lower()) and number else 100
        for mention in mentions(clause):
            if not mention.concept.startswith(("order:", "quality:", "end:", "bare:")):
                _add(concepts, mention.concept, degree)
    for mention in mentions(f"at {item.at}"):
        if mention.concept.startswith("letter:"):
            _add(concepts, mention.concept, 100)
    for figure in FAMILY_FIGURES.get(item.family, (item.family,)):
        _add(concepts, f"figure:{figure}", 100)
    for mention in mentions(item.directive):
        if mention.concept in _TOLD:
            _add(concepts, mention.concept, 60)
    _add_gaits(concepts, item, gaits_before)
    _add_implied(concepts, item)
    _add_qualities(concepts)
    return {concept: degree for concept, degree in concepts.items() if concept != "figure:"}


def _add(concepts: dict[str, int], concept: str, degree: int) -> None:
    concepts[concept] = max(degree, concepts.get(concept, 0))


def _add_gaits(concepts: dict[str, int], item: Item, gaits_before: set[str]) -> None:
    if item.gait:
        _add(concepts, f"gait:{item.gait}", 100)
    named = [concept for concept in concepts if concept.startswith("gait:")]
    for gait in gaits_before:
        _add(concepts, gait, 100 if not named else 35)
    figures = sum(concept.startswith("figure:") for concept in concepts)
    if named and not item.family and not figures and gaits_before.isdisjoint(named):
        _add(concepts, "figure:transition", 90)


def _add_implied(concepts: dict[str, int], item: Item) -> None:
    """Add what a movement has without its text saying so."""
    if "gait:walk" in concepts and (item.family == "walk" or "pace:free" in concepts or "pace:extended" in concepts):
        _add(concepts, "figure:walk-movement", 100)
        _add(concepts, "figure:stretch", 60 if "pace:free" in concepts else 20)
        _add(concepts, "figure:lengthen", 50 if "pace:medium" not in concepts else 10)
    elif "gait:walk" in concepts:
        _add(concepts, "figure:walk-movement", 60)
    if "figure:transition" in concepts and "gait:canter" in concepts and concepts["gait:canter"] > 50:
        _add(concepts, "figure:strike-off", 100)
    for paced in ("pace:medium", "pace:extended"):
        if paced in concepts and "gait:walk" not in concepts:
            _add(concepts, "figure:lengthen", 100)
    if "figure:lengthen" in concepts and ("before" in item.text.lower() or "transition" in item.text.lower()):
        _add(concepts, "figure:return", 100)
        _add(concepts, "figure:transition", 40)
    if item.family == "transition" and "transition" in item.text.lower():
        _add(concepts, "figure:return", 80)
    if not _NO_TRANSITIONS & concepts.keys():
        _add(concepts, "bare:gait", 100)
    if "figure:centre-line" in concepts or "figure:enter" in concepts:
        _add(concepts, "figure:centre-line", 100)
    if any(concept in concepts for concept in ("figure:twos", "figure:threes", "figure:fours")):
        _add(concepts, "figure:flying-change", 100)
    if {"figure:simple-change", "figure:flying-change"} & concepts.keys():
        _add(concepts, "figure:change", 100)
    if "figure:pirouette" in concepts and "gait:walk" in concepts:
        _add(concepts, "figure:haunches", 100)
    if "figure:haunches" in concepts:
        _add(concepts, "figure:turn", 80)


def _add_qualities(concepts: dict[str, int]) -> None:
    for quality, holders in QUALITIES_OF.items():
        degree = max((concepts.get(holder, 0) for holder in holders), default=0)
        if degree:
            concepts[f"quality:{quality}"] = degree


def _ordered(profiles: Sequence[Profile]) -> list[Profile]:
    """Add to each profile whether it is the first, a later or the last movement of its kind."""
    seen: dict[str, int] = {}
    found = []
    for number, profile in enumerate(profiles):
        concepts = dict(profile.concepts)
        kinds = [concept for concept, degree in concepts.items() if concept.startswith("figure:") and degree == 100]
        earlier = max((seen.get(kind, 0) for kind in kinds), default=0)
        concepts["order:again" if earlier else "order:first"] = 80
        if number == 0:
            _add(concepts, "figure:enter", 100)
            _add(concepts, "figure:centre-line", 80)
            _add(concepts, "quality:entry", 100)
        if number == len(profiles) - 1:
            _add(concepts, "end:last", 100)
            _add(concepts, "figure:centre-line", 50)
        for kind in kinds:
            seen[kind] = seen.get(kind, 0) + 1
        found.append(Profile(profile.item, concepts, profile.stems, profile.directive))
    return found


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
            lacks = lacks if _HANDS[concept] in profile.concepts else -20
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
