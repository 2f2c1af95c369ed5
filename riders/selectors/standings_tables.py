"""Standings page by page: tables may have 100,000 rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from riders.models import Season, SeasonEdition, StandingTable
from riders.selectors.editions import edition_in_force, frozen_placed
from riders.selectors.places import PlacedRow, rows_from
from scoring.season.requirements import SINGULAR

ROWS_AT_FIRST = 50
ROWS_ON_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class TablePage:
    """Some rows of one table: ``count`` of it in all, on ``page`` of ``pages``."""

    table: int
    group: dict[str, object]
    rows: tuple[PlacedRow, ...]
    count: int
    page: int = 1
    pages: int = 1

    @property
    def title(self) -> str:
        return group_title(self.group)

    @property
    def more(self) -> int:
        return self.count - len(self.rows)


def group_title(group: dict[str, object]) -> str:
    """Return the values of a group as a title."""
    return ", ".join("not stated" if value in (None, "") else str(value) for value in group.values()) or "All"


def table_overview(season: Season) -> list[TablePage]:
    """Return the first rows of every table; of a closed season as they were frozen."""
    edition = edition_in_force(season)
    if edition is not None:
        return [
            TablePage(number, one["group"], _frozen(edition, number, 0, ROWS_AT_FIRST), one["rows"])
            for number, one in enumerate(edition.head["tables"])
        ]
    return [
        TablePage(table.number, table.group, tuple(rows_from(table, first=0, number=ROWS_AT_FIRST)), table.size)
        for table in shown_tables(season)
    ]


def table_page(season: Season, *, table: int, page: str) -> TablePage | None:
    """Return one page of a table, the nearest to the one asked for; None where there is no such table."""
    found = StandingTable.objects.filter(season=season, shown=True, number=table).first()
    if found is None:
        return None
    pages = -(-found.size // ROWS_ON_A_PAGE)
    number = min(max(int(page), 1), pages) if page.isascii() and page.isdigit() and len(page) < 10 else 1
    first, edition = (number - 1) * ROWS_ON_A_PAGE, edition_in_force(season)
    if edition is None:
        rows = tuple(rows_from(found, first=first, number=ROWS_ON_A_PAGE))
    else:
        rows = _frozen(edition, table, first, ROWS_ON_A_PAGE)
    return TablePage(table, found.group, rows, found.size, number, pages)


def _frozen(edition: SeasonEdition, table: int, first: int, number: int) -> tuple[PlacedRow, ...]:
    return tuple(frozen_placed(edition, table=table, first=first, number=number))


def shown_tables(season: Season) -> list[StandingTable]:
    return list(StandingTable.objects.filter(season=season, shown=True).order_by("number"))


def missing_words(requirement: Mapping[str, Any]) -> str:
    """Say how far a requirement is met, as it stands in ``standings/1``."""
    for key, joined in (("any_of", " or "), ("all_of", " and ")):
        if key in requirement:
            return joined.join(missing_words(option) for option in requirement[key])
    have, count = requirement["have"], str(requirement["count"])
    if "at_most" in requirement:
        return f"{have} {_noun(count, have)}, at most {requirement['at_most']}"
    return f"{have} of {requirement['need']} {_noun(count, requirement['need'])}"


def _noun(count: str, number: object) -> str:
    return SINGULAR.get(count, count) if number == 1 else count
