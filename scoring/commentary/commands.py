"""``python -m scoring align``: a test and what was said over a ride in, ``alignment/1`` out."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from scoring.commentary.alignment import align, as_document
from scoring.commentary.cues import Cue, read_commentary
from scoring.documents import InvalidDocument, Problem, load_json
from scoring.testsheets import Test, read_test

__all__ = ["align_text"]

_USAGE = "Write: python -m scoring align --test TEST.json [TEXT]."


def align_text(argv: Sequence[str]) -> str:
    """Return the ``alignment/1`` document for the arguments ``--test TEST.json [TEXT]``, as JSON text.

    The text is read from standard input where no file is named or it is ``-``. Raises :class:`InvalidDocument` with the
    problems of the arguments, or of the test and the text together.
    """
    test_name, text_name = _arguments(argv)
    problems: list[Problem] = []
    test = cues = None
    try:
        test = _test(test_name)
    except InvalidDocument as error:
        problems += [Problem(_below("test", problem.path), problem.message) for problem in error.problems]
    try:
        cues = _cues(text_name)
    except InvalidDocument as error:
        problems += error.problems
    if problems or test is None or cues is None:
        raise InvalidDocument(problems)
    return json.dumps(as_document(align(test, cues)), indent=1, ensure_ascii=False)


def _below(name: str, path: str) -> str:
    return f"{name}.{path}" if path else name


def _arguments(argv: Sequence[str]) -> tuple[str, str]:
    """Return the names of the test's file and of the text's."""
    tests: list[str] = []
    texts: list[str] = []
    left = list(argv)
    while left:
        argument = left.pop(0)
        name, equals, value = argument.partition("=")
        if name == "--test" and (equals or left):
            tests.append(value if equals else left.pop(0))
        elif argument == "--test":
            raise InvalidDocument([Problem("", f"No file follows --test. {_USAGE}")])
        elif argument.startswith("-") and argument != "-":
            raise InvalidDocument([Problem("", f'The argument "{argument}" is not known. {_USAGE}')])
        else:
            texts.append(argument)
    if not tests:
        raise InvalidDocument([Problem("", f"No test is named. {_USAGE}")])
    if len(tests) > 1 or len(texts) > 1:
        raise InvalidDocument([Problem("", f'"{(tests[1:] or texts[1:])[0]}" is one file too many. {_USAGE}')])
    return tests[0], texts[0] if texts else "-"


def _test(name: str) -> Test:
    return read_test(load_json(_bytes(name)))


def _cues(name: str) -> tuple[Cue, ...]:
    return read_commentary(_bytes(name))


def _bytes(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(name).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f'The file "{name}" cannot be read: {reason}. Name a file that can.'
        raise InvalidDocument([Problem("", message)]) from None
