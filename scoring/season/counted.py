"""A score on its way through a scheme: the ledger's row with the number it brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from scoring.season.ledger import Score, natural_key

__all__ = ["CountedScore", "best_first", "earliest_first"]


@dataclass(frozen=True, slots=True, eq=False)
class CountedScore:
    """An eligible score and its number. ``merit`` is the number turned so that higher is always better."""

    score: Score
    number: Fraction
    merit: Fraction

    @property
    def score_id(self) -> str:
        return self.score.score_id


def _time_key(entry: CountedScore) -> tuple[date, tuple[tuple[int, int, str], ...]]:
    return entry.score.date or date.max, natural_key(entry.score_id)


def best_first(entries: Sequence[CountedScore]) -> list[CountedScore]:
    """Order by number, the best first; of equal ones the earlier ride, then the lower score_id."""
    return sorted(sorted(entries, key=_time_key), key=lambda entry: entry.merit, reverse=True)


def earliest_first(entries: Sequence[CountedScore]) -> list[CountedScore]:
    """Order by date, then score_id; scores without a date stand last."""
    return sorted(entries, key=_time_key)
