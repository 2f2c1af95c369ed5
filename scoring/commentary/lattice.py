"""Dynamic programming over the order of a test: which movement each piece of a commentary is about.

A state is how far the ride has come (``reached``, 0 before the first movement) and what is spoken of there: that
movement, the one before, the one before that, or the ride as a whole. ``reached`` never goes back. Two passes, forward
and back, give the probability of every state at every piece; then the path is taken that expects the most pieces
right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

from scoring.commentary.logarithms import NEVER, add_logs, log_sum, share

__all__ = ["GENERAL", "NEAR", "Step", "most_likely_path", "probabilities"]

GENERAL = -1
_KINDS = 4  # of the movement reached, of the one before, of two before, of the whole ride
_WHOLE = 3
NEAR = 10
_FAR = -580
_ASIDE = -320
_MOVE = (NEVER, -85, -155, -222, -284, -340, -390, -434, -472, -504, -530)
_BEGIN = (-90, -60, -170, -260, -340, -410, -470, -520, -560, -590, -610)
_SAME = (
    (-95, -365, -480, -270),
    (-85, -130, -480, -300),
    (-60, -200, -160, -300),
    (-90, -340, -480, -85),
)
_SAME_AT_END = (
    (-95, -340, -480, -60),
    (-70, -130, -480, -100),
    (-70, -200, -160, -100),
    (-190, -400, -520, -2),
)


@dataclass(frozen=True, slots=True)
class Step:
    """What speaks for each state at one piece, in hundredths of natural logarithms.

    ``fits`` are the movements', ``general`` the whole ride's; ``stay``, ``move`` and ``back`` come on top where the
    piece goes on about the same movement, goes to a later one or looks back. ``elapsed`` says, by the movement that
    the ride had come to and the distance moved on from it, how well the time since then fits; ``far`` is for longer
    distances, ``pause`` for talk of the whole ride before it begins or after it has ended.
    """

    fits: Sequence[int]
    general: int
    stay: int = 0
    move: int = 0
    back: int = 0
    elapsed: Sequence[Sequence[int]] | None = None
    far: int = 0
    pause: int = 0


_Row = list[list[int]]
_Moves = Sequence[Sequence[int]]


def probabilities(steps: Sequence[Step], *, count: int) -> list[list[int]]:
    """Return for each piece the parts of 10,000 of each of ``count`` movements, and of the whole ride as the last.

    >>> probabilities([Step([300, 0], 0), Step([0, 300], 0)], count=2)[1][1] > 9000
    True
    """
    if not steps:
        return []
    moves = [_moves(step, count) for step in steps]
    forward = [_first(steps[0], count)]
    for step, costs in zip(steps[1:], moves[1:], strict=True):
        forward.append(_forward(forward[-1], step, costs, count))
    total = reduce(add_logs, (value for row in forward[-1] for value in row))
    after: _Row = [[0] * _KINDS for _ in range(count + 1)]
    found = []
    for number in range(len(steps) - 1, -1, -1):
        found.append(_labels(forward[number], after, total, count))
        if number:
            after = _backward(after, steps[number], moves[number], count)
    return found[::-1]


def _first(step: Step, count: int) -> _Row:
    row = [[NEVER] * _KINDS for _ in range(count + 1)]
    row[0][_WHOLE] = _BEGIN[0] + step.general
    for reached in range(1, count + 1):
        cost = _BEGIN[min(reached, NEAR)]
        row[reached][0] = cost + step.fits[reached - 1]
    return row


def _said(step: Step, reached: int) -> tuple[int, int, int, int]:
    """Return what the piece says for each kind of state where the ride has come to ``reached``."""
    return (
        step.fits[reached - 1] if reached else NEVER,
        step.fits[reached - 2] + step.back if reached > 1 else NEVER,
        step.fits[reached - 3] + step.back if reached > 2 else NEVER,
        step.general,
    )


class _Costs:
    """The costs between the kinds of state at one place: before the first movement, on the way, at the last."""

    def __init__(self, step: Step, count: int) -> None:
        self.count = count
        self.begin = _with_time(_SAME, step.stay, step.pause)
        self.way = _with_time(_SAME, step.stay, step.stay)
        self.end = _with_time(_SAME_AT_END, step.stay, step.pause)

    def __call__(self, reached: int) -> list[list[int]]:
        return self.begin if reached == 0 else self.end if reached == self.count else self.way


def _with_time(table: Sequence[Sequence[int]], stay: int, whole: int) -> list[list[int]]:
    return [[cost + (whole if new == _WHOLE else stay) for new, cost in enumerate(row)] for row in table]


def _moves(step: Step, count: int) -> _Moves:
    """Return the costs of moving on, by the place left and the distance."""
    if step.elapsed is None:
        return [_BEGIN, *[_MOVE] * count]
    costs = [_BEGIN, *[_MOVE] * count]
    return [
        [cost + timed for cost, timed in zip(*rows, strict=False)] for rows in zip(costs, step.elapsed, strict=True)
    ]


def _forward(before: _Row, step: Step, moves: _Moves, count: int) -> _Row:
    leaving = [log_sum(kinds) for kinds in before]
    costs_at = _Costs(step, count)
    row: _Row = []
    far = NEVER
    for reached in range(count + 1):
        if reached > NEAR:
            far = add_logs(far, leaving[reached - NEAR - 1])
        nearer = range(max(0, reached - NEAR), reached)
        came = log_sum([far + _FAR + step.far, *[leaving[left] + moves[left][reached - left] for left in nearer]])
        said, costs, old = _said(step, reached), costs_at(reached), before[reached]
        kinds = [
            log_sum([old[kind] + costs[kind][new] for kind in range(_KINDS)]) if said[new] > NEVER else NEVER
            for new in range(_KINDS)
        ]
        kinds[0] = add_logs(kinds[0], came + step.move)
        kinds[_WHOLE] = add_logs(kinds[_WHOLE], came + _ASIDE)
        row.append([max(NEVER, value + spoken) for value, spoken in zip(kinds, said, strict=True)])
    return row


def _backward(after: _Row, step: Step, moves: _Moves, count: int) -> _Row:
    costs_at = _Costs(step, count)
    said = [_said(step, reached) for reached in range(count + 1)]
    entering = [
        add_logs(after[reached][0] + said[reached][0] + step.move, after[reached][_WHOLE] + step.general + _ASIDE)
        for reached in range(count + 1)
    ]
    far = NEVER
    row: _Row = [[] for _ in range(count + 1)]
    for reached in range(count, -1, -1):
        if reached + NEAR + 1 <= count:
            far = add_logs(far, entering[reached + NEAR + 1])
        farther = range(reached + 1, min(count, reached + NEAR) + 1)
        goes = log_sum(
            [far + _FAR + step.far, *[entering[next_] + moves[reached][next_ - reached] for next_ in farther]]
        )
        costs = costs_at(reached)
        later = [after[reached][new] + said[reached][new] for new in range(_KINDS)]
        row[reached] = [
            max(NEVER, log_sum([goes, *[costs[kind][new] + later[new] for new in range(_KINDS)]]))
            for kind in range(_KINDS)
        ]
    return row


def _labels(forward: _Row, after: _Row, total: int, count: int) -> list[int]:
    parts = [0] * (count + 1)
    for reached in range(count + 1):
        for kind in range(_KINDS):
            part = share(forward[reached][kind] + after[reached][kind] - total)
            if part:
                parts[count if kind == _WHOLE else reached - 1 - kind] += part
    return parts


def most_likely_path(parts: Sequence[Sequence[int]], *, count: int) -> list[int]:
    """Return the movement of each piece (its number from 0, or ``GENERAL``) that expects the most pieces right.

    The ride never goes back; a piece may look back at most two movements.

    >>> most_likely_path([[9000, 900, 100], [200, 9000, 800], [100, 900, 9000]], count=2)
    [0, 1, -1]
    """
    best, choices = [0] * (count + 1), []
    for row in parts:
        arrived, reached_from, top = [], [], 0
        for reached in range(count + 1):
            if best[reached] > best[top]:
                top = reached
            label = _best_label(row, reached, count)
            arrived.append((best[top] + row[label], label))
            reached_from.append(top)
        choices.append([(label, came) for (_, label), came in zip(arrived, reached_from, strict=True)])
        best = [value for value, _ in arrived]
    path, reached = [], best.index(max(best))
    for chosen in reversed(choices):
        label, reached = chosen[reached]
        path.append(GENERAL if label == count else label)
    return path[::-1]


def _best_label(row: Sequence[int], reached: int, count: int) -> int:
    """Return what a piece is most likely about where the ride has come to ``reached``; the whole ride before all."""
    found = count
    for label in range(reached - 1, reached - 4, -1):
        if label >= 0 and row[label] > row[found]:
            found = label
    return found
