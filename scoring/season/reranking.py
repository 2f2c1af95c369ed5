"""Places counted again among the eligible scores, and who shares a place. Stage ``rerank`` of a scheme."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from scoring.season.ledger import FieldValue, Score

__all__ = ["ClassPlace", "rerank", "shared_places"]


@dataclass(frozen=True, slots=True)
class ClassPlace:
    """How a place stands in its class: by how many it is held, and its rank when a shared place counts as one."""

    shared_by: int = 1
    dense: int | None = None


def rerank(scores: Sequence[Score], *, by: tuple[str, ...]) -> list[Score]:
    """Count placing and starters again among ``scores``, inside each combination of the fields ``by``.

    With ``class`` among the fields the places of the class decide the order (its ties are already split there), unless
    the ledger holds none, as the percentages do where classes are merged. A class is one at one competition. A score
    without a value of these fields or without what orders it loses its place. Equal ones share (1, 2, 2, 4).
    """
    fields = (*by, "competition") if "class" in by and "competition" not in by else by
    buckets: dict[tuple[FieldValue, ...], list[Score]] = defaultdict(list)
    for score in scores:
        buckets[tuple(score.value_of(field) for field in fields)].append(score)
    places: dict[str, tuple[int | None, int | None]] = {}
    for key, bucket in buckets.items():
        named = dict(zip(fields, key, strict=True))
        if any(named[field] is None for field in by):
            places.update((score.score_id, (None, None)) for score in bucket)
        else:
            places.update(_places_in(bucket, by_placing="class" in by))
    return [_placed(score, *places[score.score_id]) for score in scores]


def _placed(score: Score, placing: int | None, starters: int | None) -> Score:
    return replace(score, placing=placing, starters=starters)


def _places_in(bucket: list[Score], *, by_placing: bool) -> Mapping[str, tuple[int | None, int | None]]:
    """Count places by the placing (lowest first) or by the percentage (highest first)."""
    by_placing = by_placing and any(score.placing is not None for score in bucket)
    merits = {score.score_id: _merit(score, by_placing=by_placing) for score in bucket}
    first_places: dict[Fraction, int] = {}
    known = [merit for merit in merits.values() if merit is not None]
    for place, merit in enumerate(sorted(known, reverse=True), start=1):
        first_places.setdefault(merit, place)
    return {
        score_id: (None if merit is None else first_places[merit], len(bucket)) for score_id, merit in merits.items()
    }


def _merit(score: Score, *, by_placing: bool) -> Fraction | None:
    if by_placing:
        return None if score.placing is None else Fraction(-score.placing)
    return score.percentage


def shared_places(scores: Iterable[Score], *, by: tuple[str, ...]) -> Mapping[str, ClassPlace]:
    """Find for each score how many hold its place, and its place when each shared place counts as one only."""
    fields = (*by, "competition") if "class" in by else by
    buckets: dict[tuple[FieldValue, ...], list[Score]] = defaultdict(list)
    for score in scores:
        if score.placing is not None:
            buckets[tuple(score.value_of(field) for field in fields)].append(score)
    result = {}
    for key, bucket in buckets.items():
        if key[0] is None:
            continue
        held = Counter(score.placing for score in bucket if score.placing is not None)
        for score in bucket:
            if score.placing is not None:
                surplus = sum(count - 1 for place, count in held.items() if place < score.placing)
                result[score.score_id] = ClassPlace(held[score.placing], max(1, score.placing - surplus))
    return result
