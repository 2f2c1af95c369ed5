"""``class/1``: everything needed to compute one class."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from scoring.rulesets import RuleSet
from scoring.testsheets import DEFAULT_PART, Item, Test

__all__ = [
    "DEDUCTIONS",
    "STATUSES",
    "ClassDocument",
    "Deduction",
    "Entry",
    "Seat",
    "Sheet",
    "TeamRules",
]

STATUSES = ("completed", "eliminated", "retired", "withdrawn", "no-show", "running")
DEDUCTIONS = ("sheet-points", "part-percentage", "total-percentage")


@dataclass(frozen=True, slots=True)
class Seat:
    """A judge's place on the panel; ``parts`` is None where the seat marks every item."""

    seat: str
    parts: tuple[str, ...] | None = None

    def marks(self, item: Item) -> bool:
        return self.parts is None or item.part in self.parts


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one seat gave one entry: marks (tenths, in the order of the test's items), or points, or a percentage."""

    marks: tuple[int | None, ...] | None = None
    points: Fraction | None = None
    percentage: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Deduction:
    """A fixed penalty that never eliminates; ``seat`` None is every seat."""

    off: str
    amount: Fraction
    seat: str | None = None
    part: str = DEFAULT_PART
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """A pair in the class. ``reason`` is what the result list says of an elimination or a retirement."""

    number: str
    status: str
    hors_concours: bool = False
    team: str | None = None
    errors: int = 0
    deductions: tuple[Deduction, ...] = ()
    sheets: Mapping[str, Sheet] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TeamRules:
    counting: int
    method: str = "sum"
    of: str = "percentage"
    drop_out: Fraction | None = None


@dataclass(frozen=True, slots=True)
class ClassDocument:
    id: str
    title: str
    test: Test | None
    rules: RuleSet
    maximum: Fraction | None
    panel: tuple[Seat, ...]
    entries: tuple[Entry, ...]
    teams: TeamRules | None = None

    def parts_of(self, seat: Seat) -> tuple[str, ...]:
        """Name the parts that a seat marks; empty where the rule set has none."""
        parts = tuple(self.rules.parts)
        return parts if seat.parts is None else tuple(part for part in parts if part in seat.parts)

    @property
    def split(self) -> bool:
        """True where seats mark different parts, so that parts are averaged before they are put together."""
        return any(len(self.parts_of(seat)) != len(self.rules.parts) for seat in self.panel)
