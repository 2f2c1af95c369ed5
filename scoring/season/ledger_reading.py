"""Reading ``scores/1``: CSV (RFC 4180, header row) or JSON lines with the same names."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping

from scoring.cells import unguarded
from scoring.documents import InvalidDocument, Problem, describe, load_json
from scoring.season.ledger import FIELDS, Score, read_numbered_rows

__all__ = ["read_scores"]


def read_scores(text: str | bytes) -> tuple[Score, ...]:
    r"""Read a ledger: CSV unless the first byte is ``{``, then JSON lines.

    Every bad row is listed in :class:`~scoring.documents.InvalidDocument` with a path such as ``row 7.percentage``.
    Rows of a CSV file are numbered as a spreadsheet numbers them (the header is row 1), JSON lines by line.

    >>> [score.score_id for score in read_scores("score_id,pair,percentage\ns1,P1,66.5\n")]
    ['s1']
    """
    plain = _decoded(text)
    problems: list[Problem] = []
    start = plain.lstrip()[:1]
    if start == "[":
        message = "Here stands a list. Write the scores as JSON lines, each object on a line of its own, or as CSV."
        raise InvalidDocument([Problem("row 1", message)])
    rows = _json_rows(plain, problems) if start == "{" else _csv_rows(plain, problems)
    return read_numbered_rows(rows, problems=problems)


def _decoded(text: str | bytes) -> str:
    if isinstance(text, str):
        return text.removeprefix("\ufeff")
    try:
        return text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"The file is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and try again."
        raise InvalidDocument([Problem("", message)]) from None


def _json_rows(text: str, problems: list[Problem]) -> Iterator[tuple[int, Mapping[str, object]]]:
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        try:
            row = load_json(line)
        except InvalidDocument as error:
            problems.extend(Problem(f"row {number}", problem.message) for problem in error.problems)
            continue
        if isinstance(row, Mapping):
            yield number, row
        else:
            problems.append(
                Problem(f"row {number}", f"Here stands {describe(row)}, but one score in braces is needed.")
            )


def _csv_rows(text: str, problems: list[Problem]) -> Iterator[tuple[int, Mapping[str, object]]]:
    if "\0" in text:
        raise InvalidDocument([Problem("", "The file holds a zero byte, so it is no CSV text. Export it as CSV.")])
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    number = 0
    header: list[str] | None = None
    try:
        for number, cells in enumerate(reader, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _read_header(cells)
            elif len(cells) > len(header):
                message = f"The row has {len(cells)} cells, but the header names {len(header)} columns. Mend the row."
                problems.append(Problem(f"row {number}", message))
            else:
                yield number, dict(zip(header, map(unguarded, cells), strict=False))
    except csv.Error as error:
        problems.append(Problem(f"row {number + 1}", f"The row cannot be read as CSV ({error}). Mend its quotes."))
    if number == 0 or header is None:
        raise InvalidDocument([Problem("row 1", "The file is empty. Give a header row with the names of the columns.")])


def _read_header(cells: list[str]) -> list[str]:
    names = [cell.strip() for cell in cells]
    for between, spoken in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and between in names[0]:
            message = f"The columns are separated by {spoken}. Save the file with commas."
            raise InvalidDocument([Problem("row 1", message)])
    problems = [
        Problem(f"row 1.{name}", f'The column "{name}" is not known. Correct its name, or let it start with x-.')
        for name in names
        if name not in FIELDS and not name.startswith("x-")
    ]
    repeated = {name for name in names if names.count(name) > 1}
    problems += [
        Problem(f"row 1.{name}", f'The column "{name}" stands twice. Keep one of them.') for name in sorted(repeated)
    ]
    if "score_id" not in names:
        problems.append(Problem("row 1.score_id", 'The column "score_id" is missing. Give each score one of its own.'))
    if problems:
        raise InvalidDocument(problems)
    return names
