"""Two schemes, or two versions of one, side by side: what differs, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher

from scoring.season.drafting import read_draft

_HEAD = ("format", "id", "version")


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence of one rule beside one of the other; ``same`` where both say it, empty where one says nothing."""

    left: str
    right: str
    same: bool


@dataclass(frozen=True, slots=True)
class Differences:
    """``lines`` in the order of the rules; ``unsaid`` are places that differ while no sentence does."""

    lines: tuple[Line, ...]
    unsaid: tuple[str, ...]

    @property
    def count(self) -> int:
        return sum(not line.same for line in self.lines)


def differences(left: object, right: object) -> Differences:
    """Lay two documents side by side; those with problems are said as far as they can be.

    >>> rule = {"format": "scheme/1", "id": "m", "unit": "pair", "value": {"aggregate": "mean"}}
    >>> found = differences(rule, rule | {"decimals": 1})
    >>> [line.right for line in found.lines if not line.same]
    ['It is rounded once, to 1 decimal; an exact half is rounded up.']
    """
    lines = tuple(_lines(_said(left), _said(right)))
    differ = [] if any(not line.same for line in lines) else sorted(set(_differing(left, right, "")))
    return Differences(lines, tuple(differ))


def _said(document: object) -> list[str]:
    title = document.get("title") if isinstance(document, Mapping) else None
    return [*([f"Title: {title}."] if title else []), *read_draft(document).sentences]


def _lines(left: list[str], right: list[str]) -> Iterator[Line]:
    for how, i, j, k, m in SequenceMatcher(None, left, right, autojunk=False).get_opcodes():
        if how == "equal":
            yield from (Line(said, said, same=True) for said in left[i:j])
            continue
        for index in range(max(j - i, m - k)):
            one, other = left[i + index : j][:1], right[k + index : m][:1]
            yield Line(one[0] if one else "", other[0] if other else "", same=False)


def _differing(left: object, right: object, path: str) -> Iterator[str]:
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        for key in {**left, **right}:
            if path or key not in _HEAD:
                yield from _differing(left.get(key), right.get(key), f"{path}.{key}" if path else str(key))
    elif isinstance(left, list) and isinstance(right, list) and len(left) == len(right):
        for index, (one, other) in enumerate(zip(left, right, strict=True)):
            yield from _differing(one, other, f"{path}[{index}]")
    elif left != right:
        yield path
