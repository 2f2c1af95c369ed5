"""How many different judges can each be matched with a different score."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

__all__ = ["Matching", "most_matched"]


@dataclass(slots=True)
class Matching:
    """Scores matched with judges, one with one, as they come; ``size`` is the largest number that can be."""

    supplies: list[Collection[str]] = field(default_factory=list)
    holders: dict[str, int] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.holders)

    def copy(self) -> Matching:
        return Matching(list(self.supplies), dict(self.holders))

    def add(self, judges: Collection[str]) -> bool:
        """Add a score that can supply any one of ``judges``; tell whether one more can be matched.

        Others may change their judge for it, along the shortest chain of changes (an augmenting path).
        """
        self.supplies.append(judges)
        reached: dict[str, tuple[int, str]] = {}
        chain = [(len(self.supplies) - 1, "")]
        for score, held in chain:
            for judge in self.supplies[score]:
                if judge in reached:
                    continue
                reached[judge] = score, held
                if judge not in self.holders:
                    self._change(judge, reached)
                    return True
                chain.append((self.holders[judge], judge))
        return False

    def _change(self, judge: str, reached: dict[str, tuple[int, str]]) -> None:
        while judge:
            self.holders[judge], judge = reached[judge]


def most_matched(choices: Sequence[Collection[str]]) -> int:
    """Return the largest number of scores that can each supply a judge of its own (a maximum bipartite matching).

    ``choices`` holds the judges of each score; a score with several judges can supply any one of them.

    >>> most_matched([{"J1", "J2"}, {"J1"}, {"J1"}])
    2
    """
    if all(len(judges) <= 1 for judges in choices):
        return len({judge for judges in choices for judge in judges})
    matching = Matching()
    for judges in choices:
        matching.add(judges)
    return matching.size
