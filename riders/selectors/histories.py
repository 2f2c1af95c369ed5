"""What was done to a score, step by step, with what each step changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from riders.models import Merge, Pair, Score, ScoreChange


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One step: what was done, by whom, when, why, and the (field, before, after) that it changed."""

    change: ScoreChange
    differences: tuple[tuple[str, str, str], ...]


def score_history(score: Score) -> tuple[HistoryLine, ...]:
    """Return the history of a score, the latest step first."""
    changes = list(ScoreChange.objects.filter(score=score).select_related("by").order_by("pk"))
    states = [change.before for change in changes[1:]] + [_now(score)]
    names = _names_of_pairs({state["pair"] for state in [*states, *(change.before for change in changes)] if state})
    lines = [
        HistoryLine(change, _differences(change.before, after, names))
        for change, after in zip(changes, states, strict=True)
    ]
    return tuple(reversed(lines))


def _now(score: Score) -> dict[str, Any]:
    kept = {field.name: getattr(score, field.name) for field in Score._meta.concrete_fields}  # noqa: SLF001
    return kept | {
        "pair": score.pair_id,
        "date": score.date.isoformat(),
        "retracted": score.retracted_at is not None,
    }


def _differences(
    before: Mapping[str, Any] | None, after: Mapping[str, Any] | None, names: Mapping[int, str]
) -> tuple[tuple[str, str, str], ...]:
    if before is None or after is None:
        return ()
    found = []
    for name, value in before.items():
        if name == "source" or name not in after or after[name] == value:
            continue
        if name == "pair":
            found.append((name, names.get(value, str(value)), names.get(after[name], str(after[name]))))
        elif name == "retracted":
            found.append(("in force", "no" if value else "yes", "no" if after[name] else "yes"))
        else:
            found.append(("class" if name == "class_name" else name, plain(value), plain(after[name])))
    return tuple(found)


def plain(value: object) -> str:
    """Return a value of the ledger as ``scores/1`` writes it; unknown is empty."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return ";".join(value) if isinstance(value, list) else str(value)


def _names_of_pairs(numbers: set[int]) -> dict[int, str]:
    """Return the names of pairs, also of those that went in a merge."""
    pairs = Pair.objects.filter(pk__in=numbers).select_related("rider", "horse")
    names = {pair.pk: f"{pair} ({pair.key})" for pair in pairs}
    if numbers - set(names):
        for merge in Merge.objects.filter(undone_at__isnull=True):
            for step in merge.steps:
                if step["do"] == "remove" and step["model"] == "riders.pair" and step["row"] in numbers:
                    names[step["row"]] = f"{step['values']['key']} (merged)"
    return names
