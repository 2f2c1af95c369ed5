"""How many different judges can each be matched with a different score."""

from __future__ import annotations

from collections.abc import Collection, Sequence

__all__ = ["most_matched"]


def most_matched(choices: Sequence[Collection[str]]) -> int:
    """Return the largest number of scores that can each supply a judge of its own (a maximum bipartite matching).

    ``choices`` holds the judges of each score; a score with several judges can supply any one of them.

    >>> most_matched([{"J1", "J2"}, {"J1"}, {"J1"}])
    2
    """
    if all(len(judges) <= 1 for judges in choices):
        return len({judge for judges in choices for judge in judges})
    holder: dict[str, int] = {}

    def supply(index: int, tried: set[str]) -> bool:
        for judge in choices[index]:
            if judge not in tried:
                tried.add(judge)
                if judge not in holder or supply(holder[judge], tried):
                    holder[judge] = index
                    return True
        return False

    return sum(supply(index, set()) for index in range(len(choices)))
