"""The best set of n scores that meets requirements: ``value.take.must`` of a scheme.

The n best scores may come from one judge where three are asked for. The set looked for has exactly n members, meets
every requirement, and among those sets gives the best value; of equal values, the better scores from the best down.
The search is exact: branch and bound over the scores in order of merit, with two prunings that lose nothing.

- Of two scores that can supply the same to every requirement, the worse is never taken without the better.
- The best n that meet one requirement alone are found greedily (sets of at most n members, of which at most so many do
  not supply the requirement, form a matroid); member for member they are at least as good as any set that meets all.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil

from scoring.season.aggregates import aggregate
from scoring.season.items import Item, items_best_first, scores_of
from scoring.season.ledger import Score
from scoring.season.requirements import Need, Requirement, all_met, supplies
from scoring.season.windows import SeasonFacts

__all__ = ["choose_best_set"]

_Rank = tuple[Fraction, tuple[Fraction, ...]]


def choose_best_set(
    items: Sequence[Item],
    *,
    number: int,
    must: tuple[Requirement, ...],
    aggregate_by: str,
    facts: SeasonFacts,
    besides: Sequence[Score] = (),
) -> list[Item] | None:
    """Return the best ``number`` items (all of them, if there are fewer) that meet ``must``; ``None`` if no set does.

    ``besides`` are scores counted on top in any case; they help to meet the requirements.
    """
    search = _Search(items_best_first(items), min(number, len(items)), must, aggregate_by, facts, tuple(besides))
    search.run(0, [], frozenset())
    return search.best


@dataclass(slots=True)
class _Search:
    items: list[Item]
    number: int
    must: tuple[Requirement, ...]
    aggregate_by: str
    facts: SeasonFacts
    besides: tuple[Score, ...]
    best: list[Item] | None = None
    best_rank: _Rank | None = None
    needs: tuple[Need, ...] = ()
    kinds: list[Hashable] = field(default_factory=list)
    helps: list[list[int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.needs = tuple(part for need in self.must for part in need.parts())
        table = [
            [[supplies(need, entry.score) for entry in item.entries] for need in self.needs] for item in self.items
        ]
        self.kinds = [_kind(row, self.needs) for row in table]
        self.helps = [[sum(bool(given) for given in cell) for cell in row] for row in table]

    def run(self, position: int, chosen: list[int], passed: frozenset[Hashable]) -> None:
        """Try every next member from ``position`` on, the best first; kinds in ``passed`` have been left out before."""
        if len(chosen) == self.number:
            self._weigh(chosen)
            return
        ahead = [index for index in range(position, len(self.items)) if self.kinds[index] not in passed]
        while self._promising(chosen, ahead):
            first, kind = ahead[0], self.kinds[ahead[0]]
            self.run(first + 1, [*chosen, first], passed)
            passed = passed | {kind}
            ahead = [index for index in ahead if self.kinds[index] != kind]

    def _promising(self, chosen: list[int], ahead: list[int]) -> bool:
        bound = self._bound(chosen, ahead)
        return bound is not None and (self.best_rank is None or bound > self.best_rank)

    def _weigh(self, chosen: Sequence[int]) -> None:
        members = [self.items[index] for index in chosen]
        if not all_met(self.must, [*self.besides, *scores_of(members)], self.facts):
            return
        rank = self._rank(chosen)
        if self.best_rank is None or rank > self.best_rank:
            self.best, self.best_rank = members, rank

    def _rank(self, chosen: Sequence[int]) -> _Rank:
        merits = sorted((self.items[index].merit for index in chosen), reverse=True)
        return aggregate(merits, how=self.aggregate_by) or Fraction(0), tuple(merits)

    def _bound(self, chosen: list[int], ahead: list[int]) -> _Rank | None:
        """Return a rank that no completion can exceed; ``None`` where there is no completion."""
        slots = self.number - len(chosen)
        if len(ahead) < slots:
            return None
        best: _Rank = self._rank([*chosen, *ahead[:slots]])
        for index in self._plain_needs():
            filled = self._filled(chosen, ahead, slots=slots, need_index=index)
            if filled is None:
                return None
            rank = self._rank(filled)
            best = min(best, rank)
        return best

    def _plain_needs(self) -> list[int]:
        """Return the needs that stand for themselves, outside ``any_of``."""
        alone = [need for need in self.must if isinstance(need, Need)]
        return [index for index, need in enumerate(self.needs) if any(need is one for one in alone)]

    def _filled(self, chosen: list[int], ahead: list[int], *, slots: int, need_index: int) -> list[int] | None:
        need = self.needs[need_index]
        scores = [*self.besides, *scores_of([self.items[index] for index in chosen])]
        lacking = need.needed(self.facts) - need.have(scores)
        if lacking <= 0:
            return [*chosen, *ahead[:slots]]
        helpers = [index for index in ahead if self.helps[index][need_index]]
        largest = max((self.helps[index][need_index] for index in helpers), default=1)
        least = ceil(Fraction(lacking, largest))
        if least > slots or least > len(helpers):
            return None
        forced = helpers[:least]
        others = [index for index in ahead if index not in forced]
        return [*chosen, *forced, *others[: slots - least]]


def _kind(row: list[list[frozenset[str]]], needs: Sequence[Need]) -> Hashable:
    """Return what an item can do for the requirements: two items of one kind can stand in for each other."""
    return tuple(
        sum(bool(given) for given in cell)
        if need.count == "scores"
        else tuple(sorted(tuple(sorted(given)) for given in cell if given))
        for cell, need in zip(row, needs, strict=True)
    )
