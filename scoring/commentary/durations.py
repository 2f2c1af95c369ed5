"""When remarks on a movement are to be expected: typical lengths of movements and typical delays of speech."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from scoring.commentary.evidence import Profile

__all__ = ["delay_fit", "expected_ends", "pause_fits", "speaking_time"]

_SECONDS = {
    "halt": 14, "centre-line": 10, "circle": 12, "turn": 11, "loop": 22, "change-of-rein": 12, "lateral": 12,
    "lengthening": 11, "transition": 5, "walk": 16, "stretch": 20, "rein-back": 12, "change": 12,
}  # fmt: skip
_USUAL_SECONDS = 11
_DELAY = 5
_WORDS_A_SECOND = Fraction(13, 5)


def expected_ends(
    profiles: Sequence[Profile], *, minutes: Fraction | None, anchors: Sequence[tuple[int, Fraction]]
) -> list[int] | None:
    """Return when each movement ends, in seconds of the commentary, from ``anchors``: some movements and their remarks.

    Between two anchors the typical lengths are stretched to fit; before the first and after the last the pace is that of
    the test's ``minutes``. None where fewer than two movements are anchored.
    """
    known = _monotone(anchors)
    if len(known) < 2:
        return None
    lengths = [_SECONDS.get(profile.item.family, _USUAL_SECONDS) for profile in profiles]
    pace = Fraction(minutes * 60, sum(lengths)) if minutes else Fraction(1)
    ends = [Fraction(sum(lengths[: number + 1])) for number in range(len(lengths))]
    places = [place for place, _ in known]
    return [int(_interpolated(number, ends, known, places, pace)) - _DELAY for number in range(len(ends))]


def _monotone(anchors: Sequence[tuple[int, Fraction]]) -> list[tuple[int, Fraction]]:
    """Keep the earliest remark on each movement, in order; one that is earlier than the movement before is dropped."""
    first: dict[int, Fraction] = {}
    for place, moment in anchors:
        first[place] = min(moment, first.get(place, moment))
    kept: list[tuple[int, Fraction]] = []
    for place in sorted(first):
        if not kept or first[place] > kept[-1][1]:
            kept.append((place, first[place]))
    return kept


def _interpolated(
    number: int, ends: Sequence[Fraction], known: Sequence[tuple[int, Fraction]], places: Sequence[int], pace: Fraction
) -> Fraction:
    after = bisect_right(places, number)
    if after == 0 or after == len(known):
        place, moment = known[0 if after == 0 else -1]
        return moment + (ends[number] - ends[place]) * pace
    (left, began), (right, ended) = known[after - 1], known[after]
    return began + (ended - began) * (ends[number] - ends[left]) / (ends[right] - ends[left])


def delay_fit(moment: Fraction, *, begin: int, end: int, sharp: bool) -> int:
    """Return what the time says for a movement that lasted from ``begin`` to ``end``: 0 at best, less the farther off.

    A remark mostly comes while its movement is ridden or up to nine seconds later. Known times are ``sharp``; expected
    ones count for less.

    >>> delay_fit(Fraction(65), begin=50, end=60, sharp=True), delay_fit(Fraction(40), begin=50, end=60, sharp=True)
    (0, -150)
    """
    early, late = begin - moment, moment - end - 9
    off = 15 * early if early > 0 else 8 * late if late > 0 else 0
    return max(-int(off), -400) if sharp else max(-int(off) * 2 // 5, -120)


def pause_fits(pause: Fraction) -> tuple[int, int]:
    """Return what the silence before a piece says for going on about the same movement, and for a later one."""
    seconds = int(pause)
    return (-min(12 * max(seconds - 2, 0), 170), -25 if seconds < 1 else 0)


def speaking_time(text: str) -> Fraction:
    """Return how many seconds a text takes to say."""
    return len(text.split()) / _WORDS_A_SECOND
