"""The subcommands: each takes its arguments and returns the exit code.

0 is success, 1 a difference that ``verify`` found, 2 refused input: then nothing stands on standard output, and one
JSON object with every problem on standard error. Output is UTF-8 whatever the locale says.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from scoring import checking
from scoring.bundles import verify_bundle
from scoring.class_reader import read_class
from scoring.documents import InvalidDocument, Problem, load_json
from scoring.results import compute_results

__all__ = ["align", "championship", "check", "outlook", "refuse", "results", "standings", "unknown", "verify", "write"]


def results(argv: list[str]) -> int:
    """Compute a class: ``class/1`` in, ``results/1`` out."""

    def run() -> int:
        document = compute_results(read_class(load_json(_read(argv)))).as_document()
        write(json.dumps(document, indent=2, ensure_ascii=False))
        return 0

    return _guarded(run)


def championship(argv: list[str]) -> int:
    """Compute a championship: ``championship/1`` in, ``championship-results/1`` out."""

    def run() -> int:
        write(str(import_module("scoring.championships_checking").results_text(_read(argv))))
        return 0

    return _guarded(run)


def align(argv: list[str]) -> int:
    """Lay spoken commentary on the movements of a test: text in, ``alignment/1`` out."""

    def run() -> int:
        write(str(import_module("scoring.commentary.commands").align_text(argv)))
        return 0

    return _guarded(run)


def check(argv: list[str]) -> int:
    """Say what a document is, or every problem in it."""

    def run() -> int:
        write(checking.check(_read(argv)))
        return 0

    return _guarded(run)


def verify(argv: list[str]) -> int:
    """Recompute a results bundle and print each difference from what it claims."""

    def run() -> int:
        differences = verify_bundle(load_json(_read(argv)))
        if not differences:
            write("Every class of the bundle agrees with what is recomputed, and the digest is right.")
            return 0
        write("\n".join(f"{difference.path}: {difference.message}" for difference in differences))
        return 1

    return _guarded(run)


def standings(argv: list[str]) -> int:
    """Compute standings from scores and a scheme."""
    return _season("standings", argv)


def outlook(argv: list[str]) -> int:
    """Say what the next scores of a unit must be."""
    return _season("outlook", argv)


def unknown(argv: list[str]) -> int:
    """Refuse a command that is not known, or none at all."""
    named = f'The command "{argv[0]}" is not known' if argv else "No command is given"
    choices = "results, championship, standings, outlook, align, check, verify"
    return refuse(InvalidDocument([Problem("", f"{named}. Give one of: {choices}.")]))


def _season(name: str, argv: list[str]) -> int:
    return _guarded(lambda: int(import_module("scoring.season.commands").run(name, argv)))


def _guarded(run: Callable[[], int]) -> int:
    try:
        return run()
    except InvalidDocument as error:
        return refuse(error)


def refuse(error: InvalidDocument) -> int:
    """Print every problem as one JSON object on standard error and return exit code 2."""
    text = json.dumps(error.as_dict(), indent=2, ensure_ascii=False)
    sys.stderr.buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
    return 2


def write(text: str) -> None:
    """Write text and a line end to standard output as UTF-8."""
    sys.stdout.buffer.write(text.encode("utf-8", "backslashreplace") + b"\n")
    sys.stdout.buffer.flush()


def _read(argv: list[str]) -> bytes:
    """Read the one file that is named, or standard input where none is or it is ``-``."""
    unknown = [argument for argument in argv if argument.startswith("-") and argument != "-"]
    if unknown or len(argv) > 1:
        stands = (unknown or argv[1:])[0]
        raise InvalidDocument([Problem("", f'The argument "{stands}" is not known. Name one file, or none.')])
    if not argv or argv[0] == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(argv[0]).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f'The file "{argv[0]}" cannot be read: {reason}. Name a file that can.'
        raise InvalidDocument([Problem("", message)]) from None
