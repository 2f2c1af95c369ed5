"""When remarks on a movement are to be expected: typical lengths of movements and typical delays of speech."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from itertools import accumulate

from scoring.commentary.lattice import NEAR
from scoring.commentary.logarithms import add_logs, logarithm
from scoring.commentary.profiles import Profile

__all__ = [
    "after_fit",
    "delay_fit",
    "elapsed_fits",
    "expected_ends",
    "speaking_time",
    "stay_fit",
    "typical_lengths",
    "whole_windows",
]

_SECONDS = {
    "halt": 14, "centre-line": 10, "circle": 12, "turn": 11, "loop": 22, "change-of-rein": 12, "lateral": 12,
    "lengthening": 11, "transition": 5, "walk": 16, "stretch": 20, "rein-back": 12, "change": 12,
}  # fmt: skip
_USUAL_SECONDS = 11
_DELAY = 6
VAGUE = 45
TRUST = 60  # in hundredths: typical lengths and delays are not those of this ride
_DENSITY = [70 + logarithm(seconds) for seconds in range(1, 122)]
_WORDS_A_SECOND = Fraction(13, 5)


def typical_lengths(profiles: Sequence[Profile], *, minutes: Fraction | None) -> list[int]:
    """Return how long each movement takes, in tenths of a second, so that all together take ``minutes``."""
    seconds = [_SECONDS.get(profile.item.family, _USUAL_SECONDS) for profile in profiles]
    tenths = Fraction(minutes * 600, sum(seconds)) if minutes else Fraction(10)
    return [int(length * tenths) for length in seconds]


def expected_ends(
    profiles: Sequence[Profile], *, minutes: Fraction | None, anchors: Sequence[tuple[int, Fraction]]
) -> list[int] | None:
    """Return when each movement ends, in seconds of the commentary, from ``anchors``: some movements and their remarks.

    Between two anchors the typical lengths are stretched to fit; before the first and after the last the pace is that
    of the test's ``minutes``. None where fewer than two movements are anchored.
    """
    known = _monotone(anchors)
    if len(known) < 2:
        return None
    lengths = typical_lengths(profiles, minutes=minutes)
    ends = [Fraction(sum(lengths[: number + 1]), 10) for number in range(len(lengths))]
    places = [place for place, _ in known]
    return [int(_interpolated(number, ends, known, places)) - _DELAY for number in range(len(ends))]


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
    number: int, ends: Sequence[Fraction], known: Sequence[tuple[int, Fraction]], places: Sequence[int]
) -> Fraction:
    after = bisect_right(places, number)
    if after == 0 or after == len(known):
        place, moment = known[0 if after == 0 else -1]
        return moment + (ends[number] - ends[place])
    (left, began), (right, ended) = known[after - 1], known[after]
    return began + (ended - began) * (ends[number] - ends[left]) / (ends[right] - ends[left])


def delay_fit(moment: Fraction, *, begin: int, end: int, sharp: bool) -> int:
    """Return what the time says for a movement that lasted from ``begin`` to ``end``: 0 at best, less the farther off.

    A remark mostly comes from the last seconds of its movement to nine seconds after it, less often earlier in it.
    Known times are ``sharp``; expected ones count for less.

    >>> [delay_fit(Fraction(moment), begin=50, end=60, sharp=True) for moment in (65, 52, 40, 80)]
    [0, -40, -190, -88]
    """
    during = 40 if begin <= end - 4 and moment < end - 4 else 0
    early, late = begin - moment, moment - end - 9
    off = during + (15 * early if early > 0 else 8 * late if late > 0 else 0)
    return max(-int(off), -400) if sharp else max(-int(off) * VAGUE // 100, -3 * VAGUE)


def whole_windows(
    known: Sequence[tuple[Fraction | int, Fraction | int] | None], *, last: Fraction
) -> list[tuple[int, int]]:
    """Return begin and end of every movement in seconds; those not known share the time between their known neighbours.

    >>> whole_windows([None, (10, 20), None, None, (50, 60), None], last=Fraction(90))
    [(0, 10), (10, 20), (20, 50), (20, 50), (50, 60), (60, 90)]
    """
    begins, ends = [], []
    begin = 0
    for window in known:
        begins.append(begin if window is None else int(window[0]))
        begin = begin if window is None else int(window[1])
    end = max(int(last), begin)
    for window in reversed(known):
        ends.append(end if window is None else int(window[1]))
        end = end if window is None else int(window[0])
    return list(zip(begins, reversed(ends), strict=True))


def stay_fit(pause: Fraction) -> int:
    """Return the logarithm of how likely a silence of ``pause`` seconds is between two remarks on one movement."""
    tenths = max(int(pause * 10), 0)
    return add_logs(-80 - tenths * 5, -360 - tenths * 2) * TRUST // 100


def after_fit(pause: Fraction) -> int:
    """Return the logarithm of how likely a silence of ``pause`` seconds is before or after the ride."""
    return (-200 - 8 * max(int(pause), 0)) * TRUST // 100


def elapsed_fits(
    lengths: Sequence[int], *, since_last: Fraction, since_burst: Fraction, pause: Fraction
) -> list[list[int]]:
    """Return how likely the time gone is where the ride went on, by the movement left and the distance, as logarithms.

    ``lengths`` are the movements' in tenths of a second. The time gone lies between that since the last piece began and
    that since the talk began that it was part of; one who speaks without a pause may be late.
    """
    latest, earliest = int(since_last * 10), int(since_burst * 10)
    behind = -185 - max(int(pause * 10), 0) * 5

    @cache
    def likely(needs: int) -> int:
        spread = 40 + needs * 3 // 10
        off = max(0, needs - earliest, latest - needs)
        found = -43 - _DENSITY[min(spread // 10, 120)] - 100 * off // spread
        return (add_logs(found, behind) if needs <= earliest + 20 else found) * TRUST // 100

    later = (accumulate(lengths[left : left + NEAR]) for left in range(1, len(lengths) + 1))
    return [[after_fit(pause)] * (NEAR + 1), *([0, *map(likely, needs)] for needs in later)]


def speaking_time(text: str) -> Fraction:
    """Return how many seconds a text takes to say."""
    return len(text.split()) / _WORDS_A_SECOND
