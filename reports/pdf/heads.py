"""The head that every document of a class shares."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from reports.pdf.ink import day, moment
from reports.pdf.page import Aside, Masthead


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassHead:
    """Which class of which competition a document is about, at which version of it."""

    competition: str
    venue: str
    zone: str
    number: str
    title: str
    test: str
    division: str = ""
    arena: str = ""
    date: date
    version: int
    changed_at: datetime
    address: str = ""

    @property
    def name(self) -> str:
        return f"Class {self.number}: {self.title}"

    @property
    def foot(self) -> str:
        return f"{self.competition} · {self.name}"

    @property
    def where(self) -> str:
        arena = f"arena {self.arena}" if self.arena else ""
        return dotted((self.venue, arena, day(self.date)))

    @property
    def what(self) -> str:
        test = "" if self.test == self.title else self.test
        return dotted((f"Class {self.number}", test, self.division))

    def stamp(self, state: str) -> str:
        """Return the line that says which state of things the paper shows."""
        return f"{state}. Version {self.version} of the class, {moment(self.changed_at, zone=self.zone)}."

    def masthead(self, *, kind: str, width: float, tag: str = "", caption: str = "") -> Masthead:
        aside = Aside(address=self.address, caption=caption) if self.address else None
        eyebrow = dotted((self.competition, kind))
        return Masthead(eyebrow, self.title, (self.what, self.where), width, tag, aside)


def dotted(parts: Iterable[str]) -> str:
    return " · ".join(part for part in parts if part)
