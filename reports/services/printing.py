"""How each kind of report is read from the database and printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from reports import championship_sources, season_sources, sources
from reports.pdf import championship, results, running_order, season_statement, sheets, working


@dataclass(frozen=True, slots=True)
class Print:
    """``read`` turns a subject into frozen data, ``build`` the data into the bytes of a PDF."""

    read: Callable[[Any], Any]
    build: Callable[[Any], bytes]


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
}
