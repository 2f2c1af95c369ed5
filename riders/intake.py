"""What the imports of files and documents share: the summary, the refusals, and texts and days out of documents."""

from __future__ import annotations

import json
import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from typing import Any

from riders.errors import InvalidInput
from scoring.documents import InvalidDocument, Problem, Reader, describe

Problems = list[tuple[str, str]]
"""(where, sentence), where being ``row 7, mark`` or the path in a document."""

_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_ROW = re.compile(r"row (\d+)", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_UNSEEN = re.compile("[\u00ad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff]")
_UNSTORABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Imported:
    """How much an import made, changed and found as it was already."""

    created: int = 0
    changed: int = 0
    unchanged: int = 0

    def __add__(self, other: Imported) -> Imported:
        return Imported(self.created + other.created, self.changed + other.changed, self.unchanged + other.unchanged)

    def __str__(self) -> str:
        return f"{self.created} created, {self.changed} changed, {self.unchanged} unchanged"


def refuse(problems: Problems, *, what: str) -> None:
    """Raise with every problem when there is any; nothing has been written by then."""
    if problems:
        count = "1 problem was" if len(problems) == 1 else f"{len(problems)} problems were"
        problems = sorted(problems, key=_row_number)
        raise InvalidInput(
            f"Nothing was imported: {count} found in {what}. Correct what is listed and import it again.",
            problems=problems,
        )


def _row_number(problem: tuple[str, str]) -> int:
    match = _ROW.match(problem[0])
    return int(match[1]) if match else 0


def refuse_document(problems: list[Problem], *, what: str) -> None:
    """Raise with every problem of a document, each under its path."""
    refuse([(problem.path, problem.message) for problem in problems], what=what)


def plain_document(document: object) -> Any:
    """Return a document as JSON keeps it, with exact decimals as texts."""
    return json.loads(json.dumps(document, default=str))


def has_unstorable(text: str) -> bool:
    """Tell whether a text holds control characters or half characters, which no database keeps or no printer prints."""
    return _UNSTORABLE.search(text) is not None


def one_line(text: str) -> str:
    """Return a text in composed characters, with runs of white space as one space and without marks that nobody sees.

    Two names that look the same are the same: pages copied from bring marks of direction and of width nought along.
    The two joiners stay, which change how some scripts are written.

    >>> one_line(" A\u200bnn\u202e  Orde")
    'Ann Orde'
    """
    if not text.isascii():
        text = _UNSEEN.sub("", unicodedata.normalize("NFC", text))
    return " ".join(text.split())


def reason_from(reason: str) -> str:
    """Return a reason of one line, which a person who contests a row is owed."""
    reason = one_line(reason)
    if not reason or len(reason) > 300 or has_unstorable(reason):
        sentence = "Give a reason of 1 to 300 characters: it stands in the history."
        raise InvalidInput(sentence, problems=[("reason", sentence)])
    return reason


def day_in(text: str) -> date | None:
    """Return the day that is written as 2027-03-01, or None for anything else."""
    try:
        return date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except ValueError:
        return None


def line_from(reader: Reader, key: str, *, most: int, required: bool = False) -> str:
    """Take a text of one line and at most so many characters."""
    value = one_line(reader.take_text(key, required=required, empty=not required))
    if has_unstorable(value):
        reader.problem(key, f'"{key}" holds a control character. Type the text anew.')
    elif len(value) > most:
        reader.problem(key, f'"{key}" has {len(value)} characters, but at most {most} are kept. Shorten it.')
    else:
        return value
    return ""


def slug_from(reader: Reader, key: str, *, most: int) -> str:
    """Take an id that also stands in addresses."""
    value = reader.take_text(key, required=True, empty=False)
    if value.strip() and (not _SLUG.fullmatch(value) or len(value) > most):
        reader.problem(
            key,
            f"{describe(value)} cannot stand in an address. Use at most {most} of a to z, 0 to 9 and single hyphens.",
        )
    return value


def day_from(reader: Reader, key: str) -> date:
    """Take a day that must be given; a wrong one is noted and reads as the first day there is."""
    value = reader.take_text(key, required=True, empty=False)
    day = day_in(value)
    if day is None and value.strip():
        reader.problem(key, f"{describe(value)} is not a day. Write it as 2027-03-01.")
    return day or date.min


def refuse_reversed_days(reader: Reader, starts_on: date, ends_on: date) -> None:
    if date.min not in {starts_on, ends_on} and ends_on < starts_on:
        reader.problem("ends_on", f"The last day {ends_on} is before the first, {starts_on}. Correct one of the days.")


def refused_document(error: InvalidDocument, *, what: str) -> InvalidInput:
    """Turn the problems of a document into the refusal that people see."""
    return InvalidInput(
        f"{what} cannot be used. Correct what is listed and send it again.",
        problems=[(problem.path, problem.message) for problem in error.problems],
    )
