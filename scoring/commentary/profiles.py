"""What each movement of a test is, in the concepts of the vocabulary, each to a degree in hundredths."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from scoring.commentary.vocabulary import FAMILY_FIGURES, QUALITIES_OF, mentions, stems
from scoring.testsheets import Item, Test

__all__ = ["Profile", "movements"]

_TOLD = frozenset(
    f"figure:{figure}" for figure in ("take-reins", "stretch", "strike-off", "rein-back", "counter-canter")
)
_ELSEWHERE = (
    "circle turn loop diagonal shoulder-in half-pass leg-yield travers renvers lengthen stretch rein-back haunches "
    "pirouette change piaffe passage enter halt centre-line"
)
_NO_TRANSITIONS = frozenset(f"figure:{figure}" for figure in _ELSEWHERE.split()) | {"pace:free", "pace:extended"}
_RETURNS = frozenset(("figure:return", "quality:return", "figure:transition", "figure:strike-off"))
_IMPLIED = (
    ("figure:enter", "figure:centre-line", 100),
    ("figure:twos", "figure:flying-change", 100),
    ("figure:threes", "figure:flying-change", 100),
    ("figure:fours", "figure:flying-change", 100),
    ("figure:simple-change", "figure:change", 100),
    ("figure:flying-change", "figure:change", 100),
    ("figure:haunches", "figure:turn", 80),
)


@dataclass(frozen=True, slots=True)
class Profile:
    """What a movement is: its concepts, to degrees in hundredths, and the stems of its words."""

    item: Item
    concepts: Mapping[str, int]
    stems: frozenset[str]
    directive: frozenset[str]


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
    if "gait:walk" in concepts:
        _add_walk(concepts, item)
    else:
        _add_lengthening(concepts)
    text = item.text.lower()
    if "figure:lengthen" in concepts and ("before" in text or "transition" in text):
        _add(concepts, "figure:return", 100)
        _add(concepts, "figure:transition", 40)
    if item.family == "transition" and "transition" in text:
        _add(concepts, "figure:return", 80)
    if "figure:transition" in concepts and concepts.get("gait:canter", 0) > 50:
        _add(concepts, "figure:strike-off", 100)
    if not _NO_TRANSITIONS & concepts.keys():
        _add(concepts, "bare:gait", 100)
    for concept, implied, degree in _IMPLIED:
        if concept in concepts:
            _add(concepts, implied, degree)


def _add_walk(concepts: dict[str, int], item: Item) -> None:
    free = "pace:free" in concepts
    if item.family == "walk" or free or "pace:extended" in concepts:
        _add(concepts, "figure:walk-movement", 100)
        _add(concepts, "figure:stretch", 60 if free else 20)
        _add(concepts, "figure:lengthen", 10 if "pace:medium" in concepts else 50)
    else:
        _add(concepts, "figure:walk-movement", 60)
    if "figure:pirouette" in concepts:
        _add(concepts, "figure:haunches", 100)


def _add_lengthening(concepts: dict[str, int]) -> None:
    if "pace:medium" in concepts or "pace:extended" in concepts:
        _add(concepts, "figure:lengthen", 100)


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
    return _with_returns(found)


def _with_returns(profiles: list[Profile]) -> list[Profile]:
    """Give the way back from a lengthening to the next movement where that is nothing but this transition."""
    found = list(profiles)
    for number, (before, profile) in enumerate(pairwise(profiles), start=1):
        if "figure:lengthen" in before.concepts and _is_return(before, profile):
            found[number] = replace(profile, concepts={**profile.concepts, "figure:return": 100, "quality:return": 100})
            lessened = {concept: min(before.concepts.get(concept, 0), 30) for concept in _RETURNS}
            found[number - 1] = replace(found[number - 1], concepts={**found[number - 1].concepts, **lessened})
    return found


def _is_return(before: Profile, profile: Profile) -> bool:
    gaits = {concept for concept, degree in profile.concepts.items() if concept.startswith("gait:") and degree > 50}
    figures = {
        concept for concept, degree in profile.concepts.items() if concept.startswith("figure:") and degree == 100
    }
    same = any(before.concepts.get(gait, 0) > 50 for gait in gaits)
    return same and profile.item.family in {"", "transition"} and figures <= _RETURNS
