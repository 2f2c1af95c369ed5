"""What a list of a season shows, whatever kind of file it becomes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from reports.pdf.heads import dotted
from reports.pdf.ink import moment

ListName = Literal["standings", "awards", "qualified"]
TITLES: Mapping[str, str] = {"standings": "Standings", "awards": "Awards", "qualified": "Qualified"}


@dataclass(frozen=True, slots=True)
class ListRow:
    """One unit; ``value`` is published text, ``missing`` what it still lacks in words."""

    unit: str
    rider: str
    horse: str
    placing: int | None
    shared: bool
    value: str
    qualified: bool
    tier: str
    counted: int
    missing: tuple[str, ...]

    @property
    def name(self) -> str:
        """Who it is, for people: the rider of a pair, else the unit itself."""
        return self.rider or self.unit

    @property
    def place(self) -> str:
        if self.placing is None:
            return ""
        return f"{self.placing}=" if self.shared else str(self.placing)


@dataclass(frozen=True, slots=True)
class ListTable:
    """A table of the season with those rows of it that the list shows; ``group`` maps fields to values."""

    title: str
    group: Mapping[str, Any]
    rows: tuple[ListRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonListData:
    """``edition`` is None for a list of an open season, ``as_of`` when it was closed or last worked out.

    ``version`` is of the standings, ``digest`` of the edition; ``rule`` is the scheme in sentences, ``asked`` what was
    asked for besides the list itself, in words.
    """

    name: ListName
    format: str
    association: str
    season: str
    starts_on: date
    ends_on: date
    scheme: str
    scheme_version: int
    ranked: bool
    unit: str
    tiered: bool
    edition: int | None
    version: int
    digest: str
    as_of: datetime | None
    rule: tuple[str, ...]
    tables: tuple[ListTable, ...]
    asked: str = ""

    @property
    def title(self) -> str:
        return TITLES[self.name]

    @property
    def is_of_pairs(self) -> bool:
        return self.unit == "pair"

    @property
    def when(self) -> str:
        return moment(self.as_of, zone="UTC") if self.as_of else "not worked out yet"

    @property
    def state(self) -> str:
        """Say how far these lists can be relied on."""
        if self.edition is None:
            return "Not final: the season is open"
        return f"Final lists, edition {self.edition}"

    @property
    def stamp(self) -> str:
        """Return the line that says exactly which state of things the document shows."""
        if self.edition is None:
            return dotted((self.state, f"as of {self.when}", f"version {self.version} of the standings"))
        return dotted((self.state, f"as of {self.when}", f"check code {self.digest[:16]}"))

    @property
    def counted_by(self) -> str:
        return f"{self.scheme}, version {self.scheme_version}"

    @property
    def working(self) -> str:
        """Return in one line how the list was worked out."""
        chosen = {
            "standings": "Every unit with a score that counts, in the order of the rule",
            "awards": "The units that reached a tier" if self.tiered else "The placed units",
            "qualified": "The units that met every requirement",
        }[self.name]
        return f"{chosen}{f', {self.asked}' if self.asked else ''}; counted by {self.counted_by}, as of {self.when}."


def unit_title(data: SeasonListData) -> str:
    """Return what a column with the name of a unit is called."""
    return "Rider" if data.is_of_pairs else data.unit.replace("_", " ").capitalize()
