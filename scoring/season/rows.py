"""One line of the standings: a unit in a group."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from scoring.season.ledger import FieldValue, as_text, natural_key
from scoring.season.requirements import Met
from scoring.season.ties import TieKey

__all__ = ["Explanation", "GroupKey", "Row", "group_as_dict", "group_order"]

GroupKey = tuple[tuple[str, FieldValue], ...]
Explanation = tuple[str, str, str]
"""``(score_id, "counted" | "dropped" | "not eligible", sentence)``"""


@dataclass(frozen=True, slots=True)
class Row:
    """A unit's line. ``merit`` and ``tie_keys`` are what it is ranked by (higher is better).

    ``about`` holds the fields that the ``after`` rules look at (a pair's rider), ``tier_rank`` the tier's place in the
    scheme. ``problem`` says why there is no value, ``note`` why ``after`` took the unit out of the ranking.
    """

    unit: str
    group: GroupKey
    value: str | None
    merit: Fraction | None
    qualified: bool
    tie_keys: tuple[TieKey, ...] = ()
    tier: str | None = None
    tier_rank: int = 0
    counted: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    requirements: tuple[Met, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    about: tuple[tuple[str, FieldValue], ...] = ()
    placing: int | None = None
    shared: bool = False
    problem: str = ""
    note: str = ""

    def as_dict(self, *, with_tier: bool = False) -> dict[str, object]:
        """Return the row as it stands in ``standings/1``."""
        row: dict[str, object] = {
            "unit": self.unit,
            "placing": self.placing,
            "shared": self.shared,
            "value": self.value,
            "qualified": self.qualified,
            "counted": list(self.counted),
            "dropped": list(self.dropped),
            "requirements": [met.as_dict() for met in self.requirements],
        }
        return {**row, "tier": self.tier} if with_tier else row

    def rank_key(self) -> tuple[Fraction, tuple[TieKey, ...]]:
        """Return what places are decided by; higher is better."""
        return self.merit if self.merit is not None else Fraction(0), self.tie_keys

    def unit_key(self) -> tuple[tuple[int, int, str], ...]:
        return natural_key(self.unit)


def group_as_dict(group: GroupKey) -> dict[str, object]:
    """Return a group's fields as they stand in a document; a missing value is null."""
    return {field: plain_value(value) for field, value in group}


def plain_value(value: FieldValue) -> object:
    """Return a ledger value as it stands in a document."""
    return value if value is None or isinstance(value, bool | int) else as_text(value)


def group_order(group: GroupKey) -> tuple[tuple[bool, tuple[tuple[int, int, str], ...]], ...]:
    """Return a sort key: by the fields' values, missing last."""
    return tuple((value is None, natural_key("" if value is None else as_text(value))) for _, value in group)
