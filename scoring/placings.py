"""Places: equal figures share one and the next is skipped, unless the rule set's steps separate them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from typing import TypeVar

from scoring.rulesets import TieStep

__all__ = ["Figure", "Placing", "natural_order", "places_by", "placings"]

Figure = int | Fraction
_T = TypeVar("_T")
_DIGITS = re.compile(r"([0-9]+)")


@dataclass(slots=True)
class Placing:
    """The place of one entry.

    ``equals`` are the entries whose published total is the same; ``separated`` holds each step that parted this entry
    from some of them, with the figures (of all that were still together) by which it did.
    """

    number: str
    place: int
    shared: bool = False
    equals: tuple[str, ...] = ()
    separated: list[tuple[TieStep, dict[str, Figure]]] = field(default_factory=list)


@lru_cache(maxsize=4096)
def natural_order(text: str) -> tuple[tuple[str | tuple[int, str], ...], str]:
    """Return a sort key under which 9 comes before 12, and A2 before A10.

    >>> sorted(["12", "9", "A10", "A2", "12b"], key=natural_order)
    ['9', '12', '12b', 'A2', 'A10']
    """
    pieces = _DIGITS.split(text)
    digits = ((len(piece.lstrip("0")), piece.lstrip("0")) for piece in pieces[1::2])
    key: list[str | tuple[int, str]] = []
    for words, number in zip(pieces[::2], [*digits, (0, "")], strict=True):
        key.extend((words.casefold(), number))
    return tuple(key), text


def places_by(values: Mapping[_T, Figure]) -> dict[_T, int]:
    """Give each key its place by value, highest first; equal ones share and the next is skipped.

    >>> places_by({"a": 68, "b": 66, "c": 66, "d": 64})
    {'a': 1, 'b': 2, 'c': 2, 'd': 4}
    """
    first: dict[Figure, int] = {}
    for place, value in enumerate(sorted(values.values(), reverse=True), start=1):
        first.setdefault(value, place)
    return {key: first[value] for key, value in values.items()}


def placings(
    ranks: Mapping[str, Figure],
    *,
    steps: Sequence[TieStep],
    tie_places: int | None,
    figure: Callable[[str, TieStep], Figure | None],
) -> list[Placing]:
    """Place entries by rank, highest first, and separate equal ones.

    Each step is tried in order on the entries that are still together, as long as the place they share is
    ``tie_places`` or better; it parts them by its figure, the higher first, and those it parts stay parted. A step that
    lacks its figure for any of them separates nothing. What no step separates shares the place, and the next place is
    skipped. Sources: a judge on tie-breaking, woodsdressage.com; sharing and skipping, common practice.

    >>> found = placings({"12": 70, "15": 70, "9": 68}, steps=[TieStep("collectives")], tie_places=None,
    ...                  figure=lambda number, step: {"12": 14, "15": 15}.get(number))
    >>> [(row.number, row.place) for row in found]
    [('15', 1), ('12', 2), ('9', 3)]
    """
    ordered = sorted(ranks, key=lambda number: (-ranks[number], natural_order(number)))
    found: list[Placing] = []
    for _, group in groupby(ordered, key=ranks.__getitem__):
        together = tuple(group)
        place = len(found) + 1
        if len(together) == 1:
            found.append(Placing(together[0], place))
            continue
        rows = {n: Placing(n, place, equals=tuple(other for other in together if other != n)) for n in together}
        _separate(rows, together, place, steps, tie_places, figure)
        found.extend(sorted(rows.values(), key=lambda row: (row.place, natural_order(row.number))))
    return found


def _separate(
    rows: Mapping[str, Placing],
    together: tuple[str, ...],
    place: int,
    steps: Sequence[TieStep],
    tie_places: int | None,
    figure: Callable[[str, TieStep], Figure | None],
) -> None:
    allowed = steps if len(together) > 1 and (tie_places is None or place <= tie_places) else ()
    for index, step in enumerate(allowed):
        values = {number: figure(number, step) for number in together}
        known = {number: value for number, value in values.items() if value is not None}
        if len(known) < len(values) or len(set(known.values())) == 1:
            continue
        for group in _descending(known):
            for number in group:
                rows[number].separated.append((step, known))
            _separate(rows, group, place, steps[index + 1 :], tie_places, figure)
            place += len(group)
        return
    for number in together:
        rows[number].place, rows[number].shared = place, len(together) > 1


def _descending(values: Mapping[str, Figure]) -> Iterator[tuple[str, ...]]:
    ordered: Iterable[str] = sorted(values, key=lambda number: -values[number])
    for _, group in groupby(ordered, key=values.__getitem__):
        yield tuple(group)
