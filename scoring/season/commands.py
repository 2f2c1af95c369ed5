"""``python -m scoring standings`` and ``outlook``, and what ``check`` says of a season's documents."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NoReturn, TextIO

from scoring.documents import InvalidDocument, Problem, load_json
from scoring.season.ledger import Score, read_day
from scoring.season.ledger_reading import read_scores
from scoring.season.outlook import compute_outlook
from scoring.season.scheme import Scheme, read_scheme
from scoring.season.standings import compute_standings

__all__ = ["check_document", "check_scores", "run"]

_REFUSED = 2


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        message = f"The command line cannot be used: {message}. Give: {self.prog} {self.usage}."
        raise InvalidDocument([Problem("", message)])


def run(name: str, argv: Sequence[str]) -> int:
    """Run ``standings`` or ``outlook``: documents in, one document out. Returns 0, or 2 where the input is refused.

    A refusal writes nothing to standard output, and one JSON object with every problem to standard error.
    """
    try:
        document = _document(name, _arguments(name, argv))
    except InvalidDocument as error:
        _write(sys.stderr, json.dumps(error.as_dict(), ensure_ascii=False, indent=2))
        return _REFUSED
    _write(sys.stdout, json.dumps(document, ensure_ascii=False, indent=2))
    return 0


def _write(stream: TextIO, text: str) -> None:
    """Write UTF-8, whatever the locale says."""
    stream.buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
    stream.flush()


def _arguments(name: str, argv: Sequence[str]) -> argparse.Namespace:
    unit = " --unit ID" if name == "outlook" else ""
    usage = f"--scheme FILE{unit} [--as-of DATE] [SCORES]"
    parser = _Parser(prog=f"python -m scoring {name}", usage=usage, allow_abbrev=False)
    parser.add_argument("--scheme", required=True, metavar="FILE", help="the season rule, scheme/1")
    if name == "outlook":
        parser.add_argument("--unit", required=True, metavar="ID", help="the pair, rider, horse or team")
    parser.add_argument("--as-of", metavar="DATE", help="the day on which the season stands, such as 2027-03-01")
    parser.add_argument(
        "scores", nargs="?", default="-", metavar="SCORES", help="the ledger, scores/1 (standard input)"
    )
    return parser.parse_args(list(argv))


def _document(name: str, arguments: argparse.Namespace) -> object:
    scheme, scores, as_of = _inputs(arguments)
    if name == "standings":
        return compute_standings(scheme, scores, as_of=as_of).as_document()
    if not arguments.unit.strip():
        raise InvalidDocument([Problem("unit", f'"--unit" is empty. Give the {scheme.unit} to look at.')])
    outlooks = compute_outlook(scheme, scores, unit=arguments.unit, as_of=as_of)
    if not outlooks:
        message = f'No score of the {scheme.unit} "{arguments.unit}" stands in the ledger, so it has no table.'
        raise InvalidDocument([Problem("unit", f"{message} Check its spelling.")])
    documents = [outlook.as_document() for outlook in outlooks]
    return documents[0] if len(documents) == 1 else documents


def _inputs(arguments: argparse.Namespace) -> tuple[Scheme, tuple[Score, ...], dt.date | None]:
    """Read scheme, ledger and day; the problems of all three are reported together, each saying what it is about."""
    if arguments.scheme == arguments.scores == "-":
        message = "Scheme and scores cannot both stand on standard input. Name a file for one of them."
        raise InvalidDocument([Problem("scheme", message)])
    problems: list[Problem] = []
    scheme = scores = as_of = None
    try:
        scheme = read_scheme(load_json(_bytes(arguments.scheme)))
    except InvalidDocument as error:
        problems += [Problem(found.path or "scheme", found.message) for found in error.problems]
    try:
        scores = read_scores(_bytes(arguments.scores))
    except InvalidDocument as error:
        problems += [Problem(found.path or "scores", found.message) for found in error.problems]
    if arguments.as_of is not None:
        try:
            as_of = read_day(arguments.as_of)
        except ValueError as error:
            problems.append(Problem("as-of", f'"--as-of" is "{arguments.as_of}". {error}'))
    if scheme is None or scores is None or problems:
        raise InvalidDocument(problems)
    return scheme, scores, as_of


def _bytes(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(name).read_bytes()
    except OSError as error:
        message = f'The file "{name}" cannot be read: {error.strerror}. Check its name.'
        raise InvalidDocument([Problem("", message)]) from None


def check_document(document: object) -> str:
    """Say in one sentence what a season's document is. Raises :class:`InvalidDocument` with every problem."""
    kind = document.get("format") if isinstance(document, Mapping) else None
    if kind == "scheme/1":
        scheme = read_scheme(document)
        title = f' "{scheme.title}"' if scheme.title else ""
        return f"This is a good scheme/1 document: {scheme.id}{title}, for each {scheme.unit}, mode {scheme.mode}."
    message = f'The format "{kind}" is none that season rules read. Give scheme/1, or a ledger as CSV or JSON lines.'
    raise InvalidDocument([Problem("format", message)])


def check_scores(text: bytes) -> str:
    """Say in one sentence what a ledger holds. Raises :class:`InvalidDocument` with every bad row."""
    scores = read_scores(text)
    days = [score.date for score in scores if score.date is not None]
    span = f" from {min(days)} to {max(days)}" if days else ""
    return f"This is a good scores/1 ledger with {len(scores)} {'score' if len(scores) == 1 else 'scores'}{span}."
