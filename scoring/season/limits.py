"""Which of a unit's scores are looked at, at most so many per competition and the like: stage ``limit`` of a scheme."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from scoring.documents import Reader, describe
from scoring.season.conditions import Condition, all_true, conditions_in_words, known_field, read_conditions
from scoring.season.counted import CountedScore, best_first, earliest_first
from scoring.season.ledger import FIELDS, FieldValue, spoken

__all__ = ["Limit", "Limited", "apply_limits", "read_fields", "read_limits"]


@dataclass(frozen=True, slots=True)
class Limit:
    """Keep the best, first or last ``number`` scores per combination of ``per``, of those where ``where`` holds."""

    keep: str
    number: int
    per: tuple[str, ...] = ()
    where: tuple[Condition, ...] = ()

    def words(self) -> str:
        number = f"the {self.keep} score counts" if self.number == 1 else f"the {self.keep} {self.number} scores count"
        per = f" per {' and '.join(map(spoken, self.per))}" if self.per else ""
        return f"Only {number}{per}" + (f", of those where {conditions_in_words(self.where)}" if self.where else "")


@dataclass(frozen=True, slots=True)
class Limited:
    """The scores that remain, and why each other one went: ``dropped`` was outdone, ``unknown`` lacks a value."""

    kept: list[CountedScore]
    dropped: dict[str, str]
    unknown: dict[str, str]


def apply_limits(limits: tuple[Limit, ...], entries: Sequence[CountedScore]) -> Limited:
    """Apply the limits in their order to the scores of one unit in one group."""
    state = Limited(list(entries), {}, {})
    for limit in limits:
        state = _apply(limit, state)
    return state


def _apply(limit: Limit, state: Limited) -> Limited:
    kept, dropped, unknown = [], dict(state.dropped), dict(state.unknown)
    heaps: dict[tuple[FieldValue, ...], list[CountedScore]] = defaultdict(list)
    for entry in state.kept:
        verdict = all_true(limit.where, entry.score)
        missing = _missing_field(limit, entry) if verdict.truth else None
        if verdict.truth is False:
            kept.append(entry)
        elif verdict.truth is None or missing is not None:
            unknown[entry.score_id] = verdict.reason or f"its {spoken(missing or '')} is unknown"
        else:
            heaps[tuple(entry.score.value_of(field) for field in limit.per)].append(entry)
    for heap in heaps.values():
        ordered = _ordered(limit, heap)
        kept += ordered[: limit.number]
        dropped.update((entry.score_id, limit.words()) for entry in ordered[limit.number :])
    return Limited(kept, dropped, unknown)


def _missing_field(limit: Limit, entry: CountedScore) -> str | None:
    fields = limit.per if limit.keep == "best" else (*limit.per, "date")
    return next((field for field in fields if entry.score.value_of(field) is None), None)


def _ordered(limit: Limit, heap: list[CountedScore]) -> list[CountedScore]:
    if limit.keep == "best":
        return best_first(heap)
    return earliest_first(heap) if limit.keep == "first" else earliest_first(heap)[::-1]


def read_limits(reader: Reader) -> tuple[Limit, ...]:
    """Read ``limit``, a list."""
    limits = []
    for part in reader.objects("limit"):
        keep = part.take_choice("keep", ("best", "first", "last"), required=True)
        number = part.take_int("number", required=True, least=1)
        limit = Limit(keep, number or 1, read_fields(part, "per"), read_conditions(part, "where"))
        part.finish()
        limits.append(limit)
    return tuple(limits)


def read_fields(reader: Reader, key: str, *, required: bool = False) -> tuple[str, ...]:
    """Read a list of ledger fields."""
    fields = []
    for index, raw in enumerate(reader.take_list(key, required=required)):
        if not isinstance(raw, str) or not known_field(raw) or raw == "judges":
            message = f"Here stands {describe(raw)}, which is no single field. Name one of: {', '.join(FIELDS)}."
            reader.problem(f"{key}[{index}]", message)
        else:
            fields.append(raw)
    if len(set(fields)) != len(fields):
        reader.problem(key, "A field stands there twice. Name each field once.")
    return tuple(fields)
