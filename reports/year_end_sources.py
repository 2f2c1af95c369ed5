"""What the lists and certificates of a season show: of an edition from the edition alone, else as it stands."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from reports.pdf.certificates import Certificate, CertificatesData
from reports.pdf.season_data import ListName, ListRow, ListTable, SeasonListData
from riders.models import Season, SeasonEdition
from riders.selectors.editions import frozen_rows
from riders.selectors.season_lists import list_head, list_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonDocument:
    """What a list is about: a season and the edition of it, None while it is open, and what was asked for."""

    season: Season
    edition: SeasonEdition | None
    format: str = "pdf"
    table: int | None = None
    places: int | None = None
    order: str = "name"
    of: str = "placed"


def standings_data(document: SeasonDocument) -> SeasonListData:
    return _list_data(document, "standings", lambda _: True)


def awards_data(document: SeasonDocument) -> SeasonListData:
    """Read the placed units, or those that reached a tier; with ``places`` only the first places of each table."""
    asked = f"places 1 to {document.places}" if document.places else ""
    return _list_data(document, "awards", lambda row: _is_placed(row, document), asked=asked)


def qualified_data(document: SeasonDocument) -> SeasonListData:
    """Read the qualified units, by name or in the order of the standings."""
    asked = "in the order of their names" if document.order == "name" else "in the order of the standings"
    return _list_data(document, "qualified", lambda row: row.qualified, asked=asked, by_name=document.order == "name")


def certificates_data(document: SeasonDocument) -> CertificatesData:
    """Read one certificate for each placed or qualified unit; needs an edition."""
    placed = document.of == "placed"
    data = awards_data(document) if placed else qualified_data(document)
    assert data.edition is not None  # noqa: S101 - the kind gives no certificates of an open season
    return CertificatesData(
        association=data.association,
        season=data.season,
        starts_on=data.starts_on,
        ends_on=data.ends_on,
        edition=data.edition,
        digest=data.digest,
        certificates=tuple(
            _certificate(row, table, placed=placed, alone=len(data.tables) == 1 and not table.group)
            for table in data.tables
            for row in table.rows
        ),
    )


def _is_placed(row: ListRow, document: SeasonDocument) -> bool:
    if row.placing is None:
        return bool(row.tier)
    return document.places is None or row.placing <= document.places


def _list_data(
    document: SeasonDocument,
    name: ListName,
    chosen: Callable[[ListRow], bool],
    *,
    asked: str = "",
    by_name: bool = False,
) -> SeasonListData:
    season, edition = document.season, document.edition
    head = list_head(season) if edition is None else edition.head
    tables = []
    for number, table in enumerate(head["tables"]):
        if document.table is not None and document.table != number:
            continue
        read = list_rows(season, table=number) if edition is None else frozen_rows(edition, table=number)
        rows = [row for row in map(_row, read) if chosen(row)]
        tables.append(ListTable(table["title"], table["group"], tuple(_by_name(rows) if by_name else rows)))
    return SeasonListData(
        name=name,
        format=document.format,
        association=head["association"]["title"],
        season=head["season"]["title"],
        starts_on=date.fromisoformat(head["starts_on"]),
        ends_on=date.fromisoformat(head["ends_on"]),
        scheme=head["scheme"]["title"],
        scheme_version=head["scheme"]["version"],
        ranked=head["mode"] == "rank",
        unit=head["unit"],
        tiered=bool(head["tiers"]),
        edition=edition.number if edition else None,
        version=season.version,
        digest=edition.digest if edition else "",
        as_of=edition.at if edition else season.computed_at,
        rule=tuple(head["rule"]),
        tables=tuple(tables),
        asked=asked,
    )


def _row(read: Mapping[str, Any]) -> ListRow:
    values = {name: read[name] for name in ListRow.__dataclass_fields__ if name != "missing"}
    return ListRow(**values, missing=tuple(read["missing"]))


def _by_name(rows: Iterable[ListRow]) -> list[ListRow]:
    return sorted(rows, key=lambda row: (_letters(row.name), _letters(row.horse), row.unit))


def _letters(name: str) -> str:
    """Return a name to sort by: without marks on its letters, so that Ž stands with Z."""
    parts = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def _certificate(row: ListRow, table: ListTable, *, placed: bool, alone: bool) -> Certificate:
    if placed and row.placing is not None:
        achieved = f"{'shared ' if row.shared else ''}{_ordinal(row.placing)} place"
    elif row.tier:
        achieved = f"has reached {row.tier}"
    else:
        achieved = "has met every requirement of the season"
    achieved = f"{achieved[0].upper()}{achieved[1:]}"
    counted = f"{row.counted} {'score' if row.counted == 1 else 'scores'} counted"
    place = f"place {row.placing}{', shared' if row.shared else ''}" if row.placing and not placed else ""
    tier = f"tier {row.tier}" if row.tier and placed and row.placing else ""
    value = f"value {row.value}" if row.value else ""
    figures = " · ".join(part for part in (value, place, tier, counted) if part)
    title = "" if alone else f"{table.title[:1].upper()}{table.title[1:]}"
    return Certificate(row.name, row.horse, achieved, title, (figures,))


_ENDINGS = {1: "st", 2: "nd", 3: "rd"}


def _ordinal(number: int) -> str:
    """Return a place in words of a certificate.

    >>> [_ordinal(number) for number in (1, 2, 3, 4, 11, 12, 13, 21, 102, 111)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '102nd', '111th']
    """
    ending = "th" if number % 100 in {11, 12, 13} else _ENDINGS.get(number % 10, "th")
    return f"{number}{ending}"
