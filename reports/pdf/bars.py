"""Bars that compare a few amounts, the longest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from reportlab.platypus import Flowable

from reports.pdf.ink import BODY, DUNE, INK, SMALL
from reports.pdf.text import BOLD, SANS, face_for, one_line, shorten

_STEP = 14.5
_LABEL_SHARE = 0.56


@dataclass(eq=False)
class Bars(Flowable):
    """``amounts`` are (label, figure as text, exact amount)."""

    amounts: Sequence[tuple[str, str, Fraction]]
    across: float

    def __post_init__(self) -> None:
        super().__init__()
        self.width, self.height = self.across, len(self.amounts) * _STEP + 4

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        longest = max((amount for _, _, amount in self.amounts), default=Fraction(1)) or Fraction(1)
        start = self.width * _LABEL_SHARE
        room = self.width - start - 30
        for index, (label, shown, amount) in enumerate(self.amounts):
            y = self.height - (index + 1) * _STEP
            self.canv.setFillColor(DUNE)
            bar = room * amount.numerator * longest.denominator / (amount.denominator * longest.numerator)
            self.canv.rect(start, y + 2, bar, 8.5, stroke=0, fill=1)
            face = face_for(one_line(label), face=SANS)
            self.canv.setFillColor(INK)
            self.canv.setFont(face, SMALL + 0.4)
            self.canv.drawString(0, y + 3.4, shorten(label, width=start - 10, face=face, size=SMALL + 0.4))
            self.canv.setFont(BOLD, BODY - 0.4)
            self.canv.drawString(start + bar + 5, y + 3.4, shown)
