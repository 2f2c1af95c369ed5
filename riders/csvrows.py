"""CSV files as people hand them in: read exactly, with every problem told by row and column.

A file is UTF-8 text (a byte order mark is tolerated), its columns are parted by commas, semicolons or tabs, and its
first row names the columns in any order. Rows are counted as a spreadsheet counts them: the header is row 1.

A spreadsheet would run a cell that starts with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return as a formula.
Exports write an apostrophe before it and imports take one such apostrophe away again, so that an export is safe to open
and reads back to exactly the same text. A formula-like cell without the apostrophe is kept as the text it is.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from difflib import get_close_matches
from fractions import Fraction

from riders.intake import Problems, day_in, has_unstorable, one_line
from scoring.cells import guarded, unguarded
from scoring.documents import describe
from scoring.exact import parse_decimal

MOST_BYTES = 20_000_000
MOST_ROWS = 200_000
_MOST_COLUMNS = 200
_DELIMITERS = ",;\t"
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::00)?", re.ASCII)


@dataclass(slots=True)
class Row:
    """One row of a file; every ``take`` returns the value or a default and notes what is wrong with it."""

    number: int
    cells: Mapping[str, str]
    problems: Problems
    faulty: bool = field(default=False, init=False)

    def problem(self, column: str, sentence: str) -> None:
        self.faulty = True
        self.problems.append((self.at(column), sentence))

    def at(self, column: str) -> str:
        return f"row {self.number}, {column}" if column else f"row {self.number}"

    def has(self, column: str) -> bool:
        """Tell whether the file has the column at all, filled in or not."""
        return column in self.cells

    def raw(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def text(self, column: str, *, most: int = 120, required: bool = False) -> str:
        """Take a text of one line; runs of spaces count as one."""
        value = one_line(self.cells.get(column, ""))
        return self._checked(column, value, most=most, required=required)

    def words(self, column: str, *, most: int) -> str:
        """Take a text that may run over several lines."""
        value = unicodedata.normalize("NFC", self.cells.get(column, "")).replace("\r\n", "\n").strip()
        return self._checked(column, value, most=most, required=False)

    def _checked(self, column: str, value: str, *, most: int, required: bool) -> str:
        if required and not value:
            self.problem(column, f'The column "{column}" is empty here. Fill it in.')
        if has_unstorable(value):
            self.problem(column, f'The column "{column}" holds a control character here. Type the text anew.')
            return ""
        if len(value) > most:
            sentence = f"{describe(value)} has {len(value)} characters, but at most {most} are kept. Shorten it."
            self.problem(column, sentence)
            return ""
        return value

    def flag(self, column: str) -> bool | None:
        value = self.raw(column).lower()
        if value in {"true", "false", ""}:
            return {"true": True, "false": False}.get(value)
        self.problem(column, f"{describe(self.raw(column))} is neither true nor false. Write one of the two.")
        return None

    def whole(self, column: str, *, least: int, most: int) -> int | None:
        value = self.raw(column)
        if not value:
            return None
        if re.fullmatch(r"\d{1,9}", value, re.ASCII) and least <= int(value) <= most:
            return int(value)
        self.problem(column, f"{describe(value)} is not a whole number from {least} to {most}. Correct it.")
        return None

    def decimal(self, column: str) -> Fraction | None:
        """Take an exact decimal; a decimal comma is read as a point."""
        value = self.raw(column)
        if not value:
            return None
        try:
            return parse_decimal(value.replace(",", ".", 1))
        except ValueError:
            self.problem(column, f'{describe(value)} is not a plain decimal number. Write one such as "6.5".')
            return None

    def choice(self, column: str, choices: Collection[str], *, required: bool = False) -> str:
        value = self.raw(column)
        if value in choices or (not value and not required):
            return value
        self.problem(column, f"{describe(value)} is not known here. Write one of: {', '.join(choices)}.")
        return ""

    def day(self, column: str, *, required: bool = False) -> date | None:
        value = self.raw(column)
        if not value and not required:
            return None
        day = day_in(value)
        if day is None:
            self.problem(column, f"{describe(value)} is not a day. Write it as 2027-03-01.")
        return day

    def clock(self, column: str) -> time | None:
        value = self.raw(column)
        match = _TIME.fullmatch(value)
        if match and int(match[1]) < 24 and int(match[2]) < 60:
            return time(int(match[1]), int(match[2]))
        if value:
            self.problem(column, f"{describe(value)} is not a time of day. Write it as 09:30.")
        return None


def read_rows(
    text: str | bytes, *, columns: Sequence[str], required: Collection[str], problems: Problems
) -> Iterator[Row]:
    """Yield the rows of a file that can be read, adding what is wrong with the others to ``problems``.

    A file without a usable header yields nothing.
    """
    plain = decoded(text, problems)
    if plain is None:
        return
    delimiter = _delimiter_of(plain, columns)
    reader = csv.reader(io.StringIO(plain, newline=""), delimiter=delimiter, strict=True)
    header: list[str] | None = None
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _header_of(cells, number, columns=columns, required=required, problems=problems)
                if header is None:
                    return
                continue
            if number > MOST_ROWS:
                problems.append(too_many_rows())
                return
            row = _row_of(number, cells, header, problems)
            if row is not None:
                yield row
    except csv.Error as error:
        problems.append((f"row {number + 1}", f"The row cannot be read as CSV ({error}). Look at its quotation marks."))
        return
    if header is None:
        problems.append(("file", f"The file is empty. Its first row must name the columns: {', '.join(columns)}."))


def too_many_rows() -> tuple[str, str]:
    return "file", f"The file has more than {MOST_ROWS} rows. Split it and import the parts."


def decoded(text: str | bytes, problems: Problems) -> str | None:
    if len(text) > MOST_BYTES:
        problems.append(("file", f"The file is larger than {MOST_BYTES // 10**6} MB. Split it and import the parts."))
        return None
    try:
        plain = text.removeprefix("\ufeff") if isinstance(text, str) else text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        sentence = f"The file is not UTF-8 text (byte {error.start + 1} cannot be read). Save it as CSV in UTF-8."
        problems.append(("file", sentence))
        return None
    if plain.startswith("PK\x03\x04") or "\x00" in plain[:1000].partition("\n")[0]:
        problems.append(("file", "This is a workbook or another binary file. Save it as CSV in UTF-8."))
        return None
    return plain


def _delimiter_of(text: str, columns: Sequence[str]) -> str:
    """Return the delimiter under which the first row names the most columns that are known."""
    first = re.match(r"[^\r\n]{0,10000}", text.lstrip())
    known = set(columns)

    def named(delimiter: str) -> tuple[int, int]:
        names = [name.strip().strip('"').strip().lower() for name in first[0].split(delimiter)] if first else []
        return sum(name in known for name in names), len(names)

    return max(_DELIMITERS, key=named)


def _header_of(
    cells: list[str], number: int, *, columns: Sequence[str], required: Collection[str], problems: Problems
) -> list[str] | None:
    names = [cell.strip().lower() for cell in cells]
    while names and not names[-1]:
        names.pop()
    if len(names) > _MOST_COLUMNS:
        problems.append((f"row {number}", f"The first row has {len(names)} cells. It must name: {', '.join(columns)}."))
        return None
    found: Problems = []
    for position, name in enumerate(names, start=1):
        if not name:
            found.append((f"row {number}", f"Column {position} has no name. Name it or take it out."))
        elif name not in columns:
            found.append((f"row {number}, {_short(name)}", _unknown_column(name, columns)))
        elif name in names[: position - 1]:
            found.append((f"row {number}, {name}", f'The column "{name}" stands twice. Keep one of them.'))
    found += [
        (f"row {number}, {name}", f'The column "{name}" is missing. Add it to the first row.')
        for name in columns
        if name in required and name not in names
    ]
    problems += found
    return None if found else names


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _unknown_column(name: str, columns: Sequence[str]) -> str:
    close = get_close_matches(name[:80], columns, n=1)
    advice = f'Perhaps "{close[0]}" is meant' if close else f"The columns are: {', '.join(columns)}"
    return f"The column {describe(name)} is not known. {advice}."


def _row_of(number: int, cells: list[str], header: list[str], problems: Problems) -> Row | None:
    if len(cells) < len(header) or any(cell.strip() for cell in cells[len(header) :]):
        sentence = f"The row has {len(cells)} cells, but the first row names {len(header)} columns. Mend the row."
        problems.append((f"row {number}", sentence))
        return None
    return Row(number, dict(zip(header, map(unguarded, cells), strict=False)), problems)


def write_rows(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> Iterator[str]:
    """Yield the lines of a CSV file, its header first; cells that look like formulas are guarded."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(columns)
    yield buffer.getvalue()
    for row in rows:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow([guarded(row.get(column, "")) for column in columns])
        yield buffer.getvalue()
