"""Rooms above this one that follow when pairs are moved: they say what stands against it and what to show anew.

A merge finds the rows that point to a rider, horse or pair through Django's own record of relations, so it needs to
know no model of the rooms above. What those rows mean it cannot know: that a pair rides once in a class, or that a
board has to be shown anew. A room that keeps such rows registers a follower when its app starts (``AppConfig.ready``),
and nothing here imports it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Protocol


class Follower(Protocol):
    def conflicts(self, kept: Collection[int], gone: Collection[int]) -> Iterable[str]:
        """Yield a sentence for each place where a pair of both lists stands, so that they cannot be one."""

    def moved(self, pairs: Collection[int]) -> None:
        """Follow, inside the transaction: these pairs have other names, or other rows point to them."""


_followers: list[Follower] = []


def register(follower: Follower) -> None:
    if follower not in _followers:
        _followers.append(follower)


def conflicts(kept: Collection[int], gone: Collection[int]) -> list[str]:
    return [sentence for follower in _followers for sentence in follower.conflicts(kept, gone)]


def tell(pairs: Collection[int]) -> None:
    for follower in _followers:
        follower.moved(pairs)
