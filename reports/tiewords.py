"""What parted equal totals, in the words of the trade, for the small line under a name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

_WORDS = {
    "collectives": "collective marks",
    "coefficient-items": "movements with a coefficient",
    "median": "the median sheet",
    "part": "the {part} part",
    "item": "item {item}",
    "seat": "the sheet at {seat}",
    "collectives-at": "the collective marks at {seat}",
}


def tie_words(
    tie: Mapping[str, Any] | None, steps: Sequence[Mapping[str, Any]], *, names: Mapping[str, str] | None = None
) -> str:
    """Say with whom the total is equal and what parted them.

    ``tie`` is as in ``results/1``, ``steps`` are the tie steps of the rule; ``names`` maps what ``tie`` names to names.

    >>> tie_words({"with": ["5"], "step": "part", "value": "74.183"}, [{"by": "part", "part": "artistic"}])
    'equal with 5, parted by the artistic part: 74.183'
    """
    if not tie:
        return ""
    others = ", ".join((names or {}).get(other, other) for other in tie["with"])
    if not tie.get("step"):
        return f"equal with {others}"
    return f"equal with {others}, parted by {_step_words(tie['step'], steps)}: {tie['value']}"


def _step_words(step: str, steps: Sequence[Mapping[str, Any]]) -> str:
    """Name a step; where a rule has several of one kind, the result does not say which, and so neither do we."""
    alike = [candidate for candidate in steps if candidate.get("by") == step]
    words = _WORDS.get(step, step.replace("-", " "))
    if "{" not in words:
        return words
    return words.format(**alike[0]) if len(alike) == 1 else step.replace("-", " ")
