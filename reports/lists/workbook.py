"""A list of a season as a workbook: what it is and how it was worked out, then a sheet for each table.

Cells are typed. A figure is a number where a spreadsheet keeps it exactly (it keeps 15 digits), shown with the
decimals it was published with, else text. All else is written as text, so that nothing that people typed is ever run as
a formula. The same list gives the same bytes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from reports.pdf.ink import day
from reports.pdf.season_data import ListRow, SeasonListData, unit_title
from reports.pdf.text import one_line

_MOST_DIGITS = 15
_LONGEST_SHEET_NAME = 31
_NOT_IN_SHEET_NAMES = re.compile(r"[\[\]:*?/\\]+")
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_FIRST = "About this list"


@dataclass(frozen=True, slots=True)
class _Column:
    title: str
    width: int


def build(data: SeasonListData) -> bytes:
    """Write the workbook row by row, so that long lists need no more memory than short ones."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    created = (data.as_of or _EPOCH).astimezone(UTC).replace(tzinfo=None, microsecond=0)
    book.set_properties(
        {
            "title": one_line(f"{data.title}, {data.season}"),
            "author": one_line(data.association),
            "comments": one_line(data.stamp),
            "created": created,
        }
    )
    formats = _Formats(book)
    _write_about(book.add_worksheet(_FIRST), data, formats)
    names = {_FIRST.casefold(), "history"}
    for table in data.tables:
        sheet = book.add_worksheet(_sheet_name(table.title, names))
        _write_table(sheet, table.rows, data, formats)
    book.close()
    return out.getvalue()


class _Formats:
    """The few ways a cell looks, each made once in a workbook."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.book = book
        self.head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "vcenter"})
        self.title = book.add_format({"bold": True, "font_size": 15})
        self.label = book.add_format({"bold": True, "valign": "top"})
        self.words = book.add_format({"text_wrap": True, "valign": "top"})
        self.whole = book.add_format({"num_format": "0"})
        self._decimals: dict[int, Format] = {}

    def of_decimals(self, decimals: int) -> Format:
        if decimals not in self._decimals:
            pattern = f"0.{'0' * decimals}" if decimals else "0"
            self._decimals[decimals] = self.book.add_format({"num_format": pattern})
        return self._decimals[decimals]


def _write_about(sheet: Worksheet, data: SeasonListData, formats: _Formats) -> None:
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, 1, 90)
    sheet.write_string(0, 0, one_line(f"{data.title}: {data.season}"), formats.title)
    lines = [
        ("Association", data.association),
        ("Season", f"{data.season}, {day(data.starts_on)} to {day(data.ends_on)}"),
        ("State", data.state),
        ("As of", data.when),
        ("Scheme", data.counted_by),
        ("Worked out", data.working),
        ("Check code", data.digest),
        *((f"{'The rule' if number == 0 else ''}", sentence) for number, sentence in enumerate(data.rule)),
        *(
            (f"{'Sheets' if number == 0 else ''}", f"{table.title}: {len(table.rows)}")
            for number, table in enumerate(data.tables)
        ),
    ]
    row = 2
    for label, words in lines:
        if words:
            sheet.write_string(row, 0, label, formats.label)
            sheet.write_string(row, 1, one_line(words), formats.words)
            row += 1


def _write_table(sheet: Worksheet, rows: Sequence[ListRow], data: SeasonListData, formats: _Formats) -> None:
    columns = _columns(data)
    for number, column in enumerate(columns):
        sheet.set_column(number, number, column.width)
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)
    sheet.fit_to_pages(1, 0)
    sheet.autofilter(0, 0, max(len(rows), 1), len(columns) - 1)
    for number, column in enumerate(columns):
        sheet.write_string(0, number, column.title, formats.head)
    for line, row in enumerate(rows, start=1):
        for number, value in enumerate(_cells(row, data)):
            _write(sheet, line, number, value, formats)


def _columns(data: SeasonListData) -> list[_Column]:
    places = [_Column("Place", 8), _Column("Shared", 9)] if data.ranked else []
    names = [_Column("Rider", 30), _Column("Horse", 26)] if data.is_of_pairs else [_Column(unit_title(data), 34)]
    tier = [_Column("Tier", 16)] if data.tiered else []
    missing = [_Column("Requirements", 14), _Column("Still missing", 48)] if data.name == "standings" else []
    key = [_Column("Pair", 24)] if data.is_of_pairs else []
    return [*places, *names, _Column("Value", 11), *tier, _Column("Counted", 10), *missing, *key]


def _cells(row: ListRow, data: SeasonListData) -> list[Any]:
    places = [row.placing, "shared" if row.shared else ""] if data.ranked else []
    names = [row.rider, row.horse] if data.is_of_pairs else [row.unit]
    tier = [row.tier] if data.tiered else []
    missing = ["met" if row.qualified else "not met", "; ".join(row.missing)] if data.name == "standings" else []
    key = [row.unit] if data.is_of_pairs else []
    return [*places, *names, exact_number(row.value), *tier, row.counted, *missing, *key]


def _write(sheet: Worksheet, line: int, column: int, value: Any, formats: _Formats) -> None:
    if isinstance(value, Decimal):
        exponent = value.as_tuple().exponent
        decimals = max(-exponent, 0) if isinstance(exponent, int) else 0
        sheet.write_number(line, column, value, formats.of_decimals(decimals))
    elif isinstance(value, int):
        sheet.write_number(line, column, value, formats.whole)
    elif value:
        sheet.write_string(line, column, one_line(value))


def exact_number(published: str) -> Decimal | str:
    """Return a published figure as a number where a spreadsheet keeps every digit of it, else as the text it is.

    >>> exact_number("68.125"), exact_number("68.1250000000000001"), exact_number("-")
    (Decimal('68.125'), '68.1250000000000001', '-')
    """
    try:
        number = Decimal(published)
    except InvalidOperation:
        return published
    if not number.is_finite() or len(number.as_tuple().digits) > _MOST_DIGITS or format(number, "f") != published:
        return published
    return number


def _sheet_name(title: str, taken: set[str]) -> str:
    """Return a name that every spreadsheet takes and that no other sheet has, whatever the group is called."""
    plain = " ".join(_NOT_IN_SHEET_NAMES.sub(" ", one_line(title)).split()).strip("'") or "Table"
    plain = plain[0].upper() + plain[1:]
    name, number = plain[:_LONGEST_SHEET_NAME].strip(), 1
    while name.casefold() in taken:
        number += 1
        tail = f" {number}"
        name = f"{plain[: _LONGEST_SHEET_NAME - len(tail)].strip()}{tail}"
    taken.add(name.casefold())
    return name
