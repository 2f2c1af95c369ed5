"""Laying spoken commentary on the sheet: each cue gets the movement that it is about, or none, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from scoring.commentary.cues import Cue
from scoring.commentary.durations import (
    after_fit,
    delay_fit,
    elapsed_fits,
    expected_ends,
    speaking_time,
    stay_fit,
    typical_lengths,
    whole_windows,
)
from scoring.commentary.evidence import fit, general_fit
from scoring.commentary.lattice import GENERAL, Step, most_likely_path, probabilities
from scoring.commentary.profiles import Profile, movements
from scoring.commentary.units import Unit, units_of
from scoring.documents import InvalidDocument, Problem
from scoring.exact import Rounding, format_exact, format_units, round_to_units
from scoring.testsheets import Test

__all__ = [
    "MOST_WORK",
    "Assignment",
    "Laid",
    "align",
    "as_document",
    "assignments",
    "confidence_text",
    "lay",
    "seconds_text",
]

MOST_WORK = 400_000
_CERTAIN = 8_000
_ANCHOR = 8_000
_NAMELESS_UNTIMED = -75  # without times nothing else tells
_NAMELESS = -20  # a movement is mostly named when talk comes to it
_STAYS = -25
_OPENS = 80
_BACK = 200
_BREATH = Fraction(5, 2)


@dataclass(frozen=True, slots=True)
class Assignment:
    """A cue, or a ``part`` of one that is split, and the item that it is about (None: the whole ride).

    ``confidence`` is text from ``"0.00"`` to ``"0.99"``; ``start`` is in seconds, None where it is not known.
    """

    index: int
    part: int | None
    start: Fraction | None
    end: Fraction | None
    item: str | None
    confidence: str
    text: str

    def as_dict(self) -> dict[str, object]:
        found: dict[str, object] = {
            "index": self.index,
            "start": seconds_text(self.start),
            "end": seconds_text(self.end),
            "item": self.item,
            "confidence": self.confidence,
            "text": self.text,
        }
        return found if self.part is None else found | {"part": self.part}


def seconds_text(moment: Fraction | None) -> str | None:
    """Write seconds exactly, or to the thousandth where no decimal can."""
    if moment is None:
        return None
    try:
        return format_exact(moment)
    except ValueError:
        return format_units(round_to_units(moment, decimals=3, rounding=Rounding.HALF_UP), decimals=3)


Times = Mapping[str, tuple[Fraction | int, Fraction | int]]


def align(test: Test, cues: Sequence[Cue], *, movement_times: Times | None = None) -> tuple[Assignment, ...]:
    """Lay each cue on the movement of ``test`` that it is about; remarks on the whole ride have the item None.

    The order of the test, the words and, where there are any, the times decide. One assignment per cue, in order; a
    cue that surely speaks of several movements has one for each, with ``part`` from 0. ``movement_times`` gives, by
    item id, when movements began and ended, in seconds on the clock of the cues. Raises :class:`InvalidDocument` where
    cues times movements are more than ``MOST_WORK``.
    """
    return assignments(cues, lay(test, cues, movement_times=movement_times))


@dataclass(frozen=True, slots=True)
class Laid:
    """The pieces of a commentary and, of each, the parts of 10,000 of every label, and the label chosen."""

    profiles: Sequence[Profile]
    units: Sequence[Unit]
    parts: Sequence[Sequence[int]]
    path: Sequence[int]

    def item(self, place: int) -> str | None:
        return None if place == GENERAL else self.profiles[place].item.id


def lay(test: Test, cues: Sequence[Cue], *, movement_times: Times | None = None, most_work: int = MOST_WORK) -> Laid:
    """Lay every piece of ``cues`` on a movement of ``test`` or on the whole ride, as :func:`align` does."""
    profiles = movements(test)
    units = units_of(cues)
    if len(units) * max(len(profiles), 1) > most_work:
        message = f"{len(cues)} cues over {len(profiles)} movements are too many. Cut the commentary into single rides."
        raise InvalidDocument([Problem("cues", message)])
    parts = _probabilities(test, profiles, units, movement_times)
    return Laid(profiles, units, parts, most_likely_path(parts, count=len(profiles)))


def as_document(assignments: Sequence[Assignment]) -> dict[str, object]:
    """Return the ``alignment/1`` document of some assignments."""
    return {"format": "alignment/1", "cues": [assignment.as_dict() for assignment in assignments]}


def _probabilities(
    test: Test, profiles: Sequence[Profile], units: Sequence[Unit], times: Times | None
) -> list[list[int]]:
    words = [[fit(unit.piece, profile) for profile in profiles] for unit in units]
    clock = _Clock(units, typical_lengths(profiles, minutes=test.minutes))
    if times:
        last = max((unit.start for unit in units if unit.start is not None), default=Fraction(0))
        windows = whole_windows([times.get(profile.item.id) for profile in profiles], last=last + 60)
        return probabilities(_steps(units, words, windows, clock, sharp=True), count=len(profiles))
    parts = probabilities(_steps(units, words, None, clock), count=len(profiles))
    for _ in range(1):
        anchors = [
            (place, unit.start)
            for unit, row in zip(units, parts, strict=True)
            for place, part in enumerate(row[:-1])
            if part >= _ANCHOR and unit.start is not None
        ]
        ends = expected_ends(profiles, minutes=test.minutes, anchors=anchors)
        if ends is None:
            return parts
        begins = [ends[0] - 15, *ends[:-1]]
        windows = [(begin, end) for begin, end in zip(begins, ends, strict=True)]
        parts = probabilities(_steps(units, words, windows, clock), count=len(profiles))
    return parts


class _Clock:
    """The time gone between one piece and the next, where both have a time."""

    def __init__(self, units: Sequence[Unit], lengths: Sequence[int]) -> None:
        self.steps: list[Step] = []
        last = burst = None
        silent_from = Fraction(0)
        for unit in units:
            if unit.start is None or last is None or burst is None or not unit.begins:
                self.steps.append(Step((), 0))
                burst = unit.start if last is None else burst
            else:
                pause = unit.start - silent_from
                self.steps.append(_waited(unit.start - last, unit.start - burst, pause, lengths))
                burst = unit.start if pause > _BREATH else burst
            last = unit.start if unit.start is not None or unit.begins else last
            if unit.start is not None:
                silent_from = unit.start + speaking_time(unit.text)


def _waited(since_last: Fraction, since_burst: Fraction, pause: Fraction, lengths: Sequence[int]) -> Step:
    elapsed = elapsed_fits(lengths, since_last=since_last, since_burst=since_burst, pause=pause)
    return Step((), 0, stay=stay_fit(pause), elapsed=elapsed, far=-700, pause=after_fit(pause))


def _steps(
    units: Sequence[Unit],
    words: Sequence[Sequence[int]],
    windows: Sequence[tuple[int, int]] | None,
    clock: _Clock,
    *,
    sharp: bool = False,
) -> list[Step]:
    return [
        _step(unit, _timed(unit, fits, windows, sharp=sharp), waited)
        for unit, fits, waited in zip(units, words, clock.steps, strict=True)
    ]


def _timed(unit: Unit, fits: Sequence[int], windows: Sequence[tuple[int, int]] | None, *, sharp: bool) -> Sequence[int]:
    if windows is None or unit.start is None:
        return fits
    return [
        fitting + delay_fit(unit.start, begin=begin, end=end, sharp=sharp)
        for fitting, (begin, end) in zip(fits, windows, strict=True)
    ]


def _step(unit: Unit, fits: Sequence[int], waited: Step) -> Step:
    piece = unit.piece
    stay, move, back = waited.stay, 0, 0
    if not piece.strong:
        move += _NAMELESS_UNTIMED if waited.elapsed is None else _NAMELESS
    if piece.stays:
        move += _STAYS
    if piece.opens:
        move += _OPENS
    if piece.looks_back:
        back, move = _BACK, move - 60
    if not unit.begins:
        stay, move = stay + 60, move - 40
    return replace(waited, fits=fits, general=general_fit(piece), stay=stay, move=move, back=back)


def assignments(cues: Sequence[Cue], laid: Laid) -> tuple[Assignment, ...]:
    """Return what :func:`align` answers for cues that are laid already."""
    units, parts, path = laid.units, laid.parts, laid.path
    of_cue: dict[int, list[int]] = {cue.index: [] for cue in cues}
    for number, unit in enumerate(units):
        for index in unit.cues:
            of_cue[index].append(number)
    found: list[Assignment] = []
    for cue in cues:
        numbers = of_cue[cue.index]
        if not numbers:
            found.append(Assignment(cue.index, None, cue.start, cue.end, None, "0.00", cue.text))
            continue
        chosen = [units[number] for number in numbers], [parts[number] for number in numbers]
        found.extend(_of_cue(cue, _groups(*chosen, [path[number] for number in numbers]), laid))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Group:
    units: tuple[Unit, ...]
    place: int
    part: int


def _groups(units: Sequence[Unit], parts: Sequence[Sequence[int]], path: Sequence[int]) -> list[_Group]:
    """Put the pieces of a cue together that are about the same; all of them, unless each group is certain."""
    runs: list[list[int]] = []
    for number, place in enumerate(path):
        if runs and path[runs[-1][-1]] == place:
            runs[-1].append(number)
        else:
            runs.append([number])
    groups = [_group(run, path[run[0]], units, parts) for run in runs]
    if len(groups) == 1 or all(group.part >= _CERTAIN for group in groups):
        return groups
    everything = range(len(units))
    places = sorted(set(path), key=lambda place: -sum(parts[number][place] for number in everything))
    return [_group(everything, places[0], units, parts)]


def _group(run: Sequence[int], place: int, units: Sequence[Unit], parts: Sequence[Sequence[int]]) -> _Group:
    part = sum(parts[number][place] for number in run) // len(run)
    return _Group(tuple(units[number] for number in run), place, part)


def _of_cue(cue: Cue, groups: Sequence[_Group], laid: Laid) -> list[Assignment]:
    split = len(groups) > 1
    found = []
    for number, group in enumerate(groups):
        ends_at = groups[number + 1].units[0].start if number + 1 < len(groups) else cue.end
        found.append(
            Assignment(
                index=cue.index,
                part=number if split else None,
                start=group.units[0].start if split else cue.start,
                end=ends_at,
                item=laid.item(group.place),
                confidence=confidence_text(group.part),
                text=" ".join(unit.text for unit in group.units) if split else cue.text,
            )
        )
    return found


def confidence_text(part: int) -> str:
    """Write parts of 10,000 as ``"0.00"`` to ``"0.99"``."""
    return format_units(min(part // 100, 99), decimals=2)
