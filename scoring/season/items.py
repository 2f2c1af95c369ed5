"""What the value is made of: one score, or one part of a first stage with the scores behind it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from scoring.season.counted import CountedScore
from scoring.season.ledger import Score, natural_key

__all__ = ["Item", "items_best_first", "items_latest_first", "scores_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """A number and the scores it stands for; ``merit`` is the number turned so that higher is always better."""

    number: Fraction
    merit: Fraction
    entries: tuple[CountedScore, ...]

    @property
    def day(self) -> date | None:
        """The day of the latest ride behind it."""
        days = [entry.score.date for entry in self.entries if entry.score.date is not None]
        return max(days) if len(days) == len(self.entries) else None

    def order(self) -> tuple[date, tuple[tuple[int, int, str], ...]]:
        return self.day or date.max, natural_key(self.entries[0].score_id)


def items_best_first(items: Iterable[Item]) -> list[Item]:
    """Order by number, the best first; of equal ones the earlier, then the lower score_id."""
    return sorted(sorted(items, key=Item.order), key=lambda item: item.merit, reverse=True)


def items_latest_first(items: Iterable[Item]) -> list[Item]:
    """Order items by when they were ridden, the latest first."""
    return sorted(items, key=Item.order, reverse=True)


def scores_of(items: Iterable[Item]) -> list[Score]:
    """Return the scores that items are made of, in their order."""
    return [entry.score for item in items for entry in item.entries]


def entries_of(items: Sequence[Item]) -> list[CountedScore]:
    return [entry for item in items for entry in item.entries]
