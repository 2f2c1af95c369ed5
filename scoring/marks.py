"""The scale of a mark, and what a person may type for one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from scoring.exact import format_exact

__all__ = ["InvalidMark", "MarkScale", "mark_text", "parse_typed_mark"]

_TYPED = re.compile(r"([0-9]{1,4})(?:[.,]([0-9])0{0,3})?\Z")


class InvalidMark(ValueError):  # noqa: N818 - named for what it says of the mark, as InvalidDocument is
    """A mark that its scale does not hold; the message is a full sentence for the person who typed it."""


@dataclass(frozen=True, slots=True)
class MarkScale:
    """The marks an item may get: ``minimum`` to ``maximum`` in steps of ``step``, all three in tenths.

    >>> half_marks = MarkScale(0, 100, 5)
    >>> 65 in half_marks, 66 in half_marks, 105 in half_marks
    (True, False, False)
    """

    minimum: int
    maximum: int
    step: int

    def __contains__(self, tenths: object) -> bool:
        return (
            isinstance(tenths, int)
            and self.minimum <= tenths <= self.maximum
            and (tenths - self.minimum) % self.step == 0
        )

    def marks(self) -> range:
        """Every mark of the scale in tenths, the lowest first."""
        return range(self.minimum, self.maximum + 1, self.step)

    def instruction(self) -> str:
        """Tell what may be entered.

        >>> MarkScale(0, 100, 5).instruction(), MarkScale(10, 100, 10).instruction()
        ('Enter 10 or less in steps of 0.5.', 'Enter 1 to 10 in steps of 1.')
        """
        lowest, highest, step = (mark_text(tenths) for tenths in (self.minimum, self.maximum, self.step))
        limits = f"{highest} or less" if self.minimum == 0 else f"{lowest} to {highest}"
        return f"Enter {limits} in steps of {step}."

    def fault(self, value: Fraction, *, where: str = "") -> str | None:
        """Say in full sentences why ``value`` is not a mark of this scale, or return None when it is.

        ``where`` names the item, as in ``" for movement 4"``. The step is looked at before the limits.

        >>> MarkScale(0, 100, 5).fault(Fraction("10.3"), where=" for movement 4")
        'Mark 10.3 for movement 4 is not a step of 0.5. Enter 10 or less in steps of 0.5.'
        """
        tenths = value * 10
        if (tenths - self.minimum) % self.step != 0:
            wrong = f"is not a step of {mark_text(self.step)}"
        elif tenths > self.maximum:
            wrong = f"is above {mark_text(self.maximum)}"
        elif tenths < self.minimum:
            wrong = f"is below {mark_text(self.minimum)}"
        else:
            return None
        return f"Mark {format_exact(value)}{where} {wrong}. {self.instruction()}"


def mark_text(tenths: int) -> str:
    """Write a mark without a needless decimal.

    >>> mark_text(65), mark_text(70)
    ('6.5', '7')
    """
    whole, tenth = divmod(tenths, 10)
    return f"{whole}.{tenth}" if tenth else str(whole)


def parse_typed_mark(text: str, scale: MarkScale) -> int:
    """Read what a keyer typed as a mark, in tenths; spaces around it do not matter.

    The rule, in this order:

    1. With a point or a comma it is what it says: ``6.5`` and ``6,5``; noughts after the one decimal change nothing.
    2. Digits alone are a whole mark if the scale holds that mark: ``7`` is 7.0, ``10`` is 10.0 (never 1.0).
    3. Otherwise the last of two or more digits is the tenth, if the scale holds that mark: ``65`` can only mean 6.5,
       ``100`` can only mean 10.0, and on a scale of tenths ``73`` is 7.3 and ``11`` is 1.1. A nought in front is the
       whole part, so ``05`` is 0.5 and never 5.
    4. Anything else is nothing: ``105``, ``11`` on a scale of halves, a sign, a letter, an empty text.

    Raises :class:`InvalidMark` with a sentence. Source: keying from the number pad, common practice.

    >>> halves, tenths = MarkScale(0, 100, 5), MarkScale(0, 100, 1)
    >>> [parse_typed_mark(text, halves) for text in ("7", "65", "10", "6,5", "05", "0")]
    [70, 65, 100, 65, 5, 0]
    >>> parse_typed_mark("73", tenths), parse_typed_mark("10", tenths)
    (73, 100)
    >>> parse_typed_mark("105", halves)
    Traceback (most recent call last):
    scoring.marks.InvalidMark: "105" is not a mark. Enter 10 or less in steps of 0.5.
    """
    typed = text.strip()
    if not typed:
        raise InvalidMark(f"No mark is entered. {scale.instruction()}")
    match = _TYPED.match(typed)
    if match is None:
        shown = typed if len(typed) <= 20 else typed[:17] + "..."
        raise InvalidMark(f'"{shown}" is not a mark. {scale.instruction()}')
    whole, tenth = match.groups()
    if tenth is not None:
        value = int(whole) * 10 + int(tenth)
        if value not in scale:
            raise InvalidMark(scale.fault(Fraction(value, 10)) or "")
        return value
    readings = [int(whole)] if len(whole) > 1 else []
    if len(whole) == 1 or not whole.startswith("0"):
        readings.insert(0, int(whole) * 10)
    for reading in readings:
        if reading in scale:
            return reading
    raise InvalidMark(f'"{typed}" is not a mark. {scale.instruction()}')
