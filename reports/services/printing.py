"""How each kind of report is read from the database and printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from reports import championship_sources, season_sources, sources, year_end_sources
from reports.lists import csv_file, workbook
from reports.pdf import (
    certificates,
    championship,
    results,
    running_order,
    season_list,
    season_statement,
    sheets,
    working,
)
from reports.pdf.season_data import SeasonListData


@dataclass(frozen=True, slots=True)
class Print:
    """``read`` turns a subject into frozen data, ``build`` the data into the bytes of the file."""

    read: Callable[[Any], Any]
    build: Callable[[Any], bytes]


_LISTS: Mapping[str, Callable[[SeasonListData], bytes]] = {
    "pdf": season_list.build,
    "xlsx": workbook.build,
    "csv": csv_file.build,
}


def _build_list(data: SeasonListData) -> bytes:
    return _LISTS[data.format](data)


PRINTS: Mapping[str, Print] = {
    "results": Print(sources.results_data, results.build),
    "working": Print(sources.results_data, working.build),
    "championship": Print(championship_sources.championship_data, championship.build),
    "running-order": Print(sources.running_order_data, running_order.build),
    "sheet": Print(sources.sheet_data, sheets.build),
    "sheets": Print(sources.all_sheets_data, sheets.build),
    "season-statement": Print(
        lambda subject: season_sources.season_statement_data(subject.pair, subject.season), season_statement.build
    ),
    "season-standings": Print(year_end_sources.standings_data, _build_list),
    "season-awards": Print(year_end_sources.awards_data, _build_list),
    "season-qualified": Print(year_end_sources.qualified_data, _build_list),
    "season-certificates": Print(year_end_sources.certificates_data, certificates.build),
}
