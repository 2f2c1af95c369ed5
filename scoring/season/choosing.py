"""The best set of n scores that meets requirements: ``value.take.must`` of a scheme.

The n best scores may come from one judge where three are asked for. The set looked for has exactly n members, meets
every requirement, and among those sets gives the best value; of equal values, the better scores from the best down.
The search is exact: branch and bound over the scores in order of merit, with three prunings that lose nothing.

- Of two scores that can supply the same to every requirement, the worse is never taken without the better.
- Two requirements together need as many members as each lacks, less those that can supply something new to both.
- The best n that meet one requirement alone are found greedily (what supplies it anew is a transversal matroid, and
  with so many others of any kind its union with a uniform one); member for member they are at least as good as any set
  that meets all.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations, islice
from math import ceil

from scoring.season.aggregates import aggregate
from scoring.season.items import Item, items_best_first, scores_of
from scoring.season.matching import Matching
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
    besides: Sequence[Item] = (),
) -> list[Item] | None:
    """Return the best ``number`` items (all of them, if there are fewer) that meet ``must``; ``None`` if no set does.

    ``besides`` are counted on top in any case: they help to meet the requirements, and the value is that of all.
    """
    search = _Search(items_best_first(items), min(number, len(items)), must, aggregate_by, facts, tuple(besides))
    search.run()
    return search.best


@dataclass(frozen=True, slots=True)
class _Lack:
    """How many more a need asks for than what is chosen supplies, and what that is."""

    need: int
    number: int
    matching: Matching


@dataclass(slots=True)
class _Search:
    items: list[Item]
    number: int
    must: tuple[Requirement, ...]
    aggregate_by: str
    facts: SeasonFacts
    besides: tuple[Item, ...]
    best: list[Item] | None = None
    best_rank: _Rank | None = None
    needs: tuple[Need, ...] = ()
    kinds: list[Hashable] = field(default_factory=list)
    given: list[list[list[frozenset[str]]]] = field(default_factory=list)
    besides_given: list[list[frozenset[str]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.needs = tuple(part for need in self.must for part in need.parts())
        self.given = [self._given([item]) for item in self.items]
        self.besides_given = self._given(self.besides)
        self.kinds = [_kind(row, self.needs) for row in self.given]

    def _given(self, items: Sequence[Item]) -> list[list[frozenset[str]]]:
        """Return for each need what the scores of the items can supply."""
        return [[supplies(need, score) for score in scores_of(items)] for need in self.needs]

    def run(self) -> None:
        """Try every next member, the best first; then leave its whole kind out."""
        waiting = [(list[int](), list(range(len(self.items))))]
        while waiting:
            chosen, ahead = waiting.pop()
            if len(chosen) == self.number:
                self._weigh(chosen)
            elif self._promising(chosen, ahead):
                first, *others = ahead
                waiting.append((chosen, [index for index in others if self.kinds[index] != self.kinds[first]]))
                waiting.append(([*chosen, first], others))

    def _promising(self, chosen: list[int], ahead: list[int]) -> bool:
        slots = self.number - len(chosen)
        if len(ahead) < slots:
            return False
        lacks = [lack for index in self._plain_needs() if (lack := self._lack(chosen, index)).number > 0]
        bound = self._bound(chosen, ahead, lacks, slots=slots)
        if bound is None or (self.best_rank is not None and bound <= self.best_rank):
            return False
        return all(
            one.number + other.number <= slots + self._most_for_both(ahead, one, other)
            for one, other in combinations(lacks, 2)
            if one.number + other.number > slots
        )

    def _weigh(self, chosen: Sequence[int]) -> None:
        members = [self.items[index] for index in chosen]
        if not all_met(self.must, scores_of([*self.besides, *members]), self.facts):
            return
        rank = self._rank(chosen)
        if self.best_rank is None or rank > self.best_rank:
            self.best, self.best_rank = members, rank

    def _rank(self, chosen: Sequence[int]) -> _Rank:
        members = [*self.besides, *(self.items[index] for index in chosen)]
        merits = sorted((item.merit for item in members), reverse=True)
        return aggregate(merits, how=self.aggregate_by) or Fraction(0), tuple(merits)

    def _bound(self, chosen: list[int], ahead: list[int], lacks: Sequence[_Lack], *, slots: int) -> _Rank | None:
        """Return a rank that no completion can exceed; ``None`` where some need is beyond any completion."""
        best: _Rank = self._rank([*chosen, *ahead[:slots]])
        for lack in lacks:
            forced = self._forced(ahead, lack)
            if forced is None or len(forced) > slots:
                return None
            taken = set(forced)
            others = (index for index in ahead if index not in taken)
            best = min(best, self._rank([*chosen, *forced, *islice(others, slots - len(forced))]))
        return best

    def _plain_needs(self) -> list[int]:
        """Return the needs that stand for themselves, outside ``any_of``."""
        alone = [need for need in self.must if isinstance(need, Need)]
        return [index for index, need in enumerate(self.needs) if any(need is one for one in alone)]

    def _lack(self, chosen: list[int], need: int) -> _Lack:
        needed, matching = self.needs[need].needed(self.facts), Matching()
        for cell in (self.besides_given[need], *(self.given[index][need] for index in chosen)):
            for given in cell:
                if matching.size >= needed:
                    return _Lack(need, 0, matching)
                matching.add(given)
        return _Lack(need, needed - matching.size, matching)

    def _forced(self, ahead: list[int], lack: _Lack) -> list[int] | None:
        """Return the best of those ahead that supply what a need lacks; fewer cannot, and others are no better."""
        cells = {index: self.given[index][lack.need] for index in ahead}
        largest = max((sum(map(bool, cell)) for cell in cells.values()), default=0)
        if largest <= 1:
            matching = lack.matching.copy()
            helpers = (index for index, cell in cells.items() if any(map(matching.add, cell)))
            least = lack.number
        else:
            helpers = (index for index, cell in cells.items() if any(cell))
            least = ceil(Fraction(lack.number, largest))
        forced = list(islice(helpers, least))
        return forced if len(forced) == least else None

    def _most_for_both(self, ahead: list[int], one: _Lack, other: _Lack) -> int:
        """Return a number of those ahead that no more than can supply something new to two needs at once."""
        both = [row for row in map(self.given.__getitem__, ahead) if any(row[one.need]) and any(row[other.need])]
        if any(len(cell) > 1 for row in both for cell in (row[one.need], row[other.need])):
            return one.number + other.number
        return min(self._supplied(both, lack) for lack in (one, other))

    def _supplied(self, rows: list[list[list[frozenset[str]]]], lack: _Lack) -> int:
        values = frozenset[str]().union(*(given for row in rows for given in row[lack.need]))
        if self.needs[lack.need].count != "judges":
            values -= lack.matching.holders.keys()
        return min(len(values), lack.number)


def _kind(row: list[list[frozenset[str]]], needs: Sequence[Need]) -> Hashable:
    """Return what an item can do for the requirements: two items of one kind can stand in for each other."""
    return tuple(
        sum(bool(given) for given in cell)
        if need.count == "scores"
        else tuple(sorted(tuple(sorted(given)) for given in cell if given))
        for cell, need in zip(row, needs, strict=True)
    )
