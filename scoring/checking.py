"""Saying of any document of the open formats what it is, or every problem in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module

from scoring.bundles import bundle_from
from scoring.class_reader import class_from
from scoring.documents import InvalidDocument, Reader, describe, load_json
from scoring.exact import format_exact
from scoring.results_reader import results_from
from scoring.rulesets import rules_from
from scoring.testsheets import test_from

__all__ = ["check", "check_document"]

_SEASON_FORMATS = ("scheme/1", "standings/1", "outlook/1")
_CHAMPIONSHIP_FORMATS = ("championship/1", "championship-results/1")


def check(data: bytes) -> str:
    """Return a sentence that says what ``data`` holds; raise :class:`InvalidDocument` with every problem in it.

    Text that does not begin with a brace is taken for scores in CSV, and objects with a ``score_id`` for scores as JSON
    lines.

    >>> check(b'{"format": "rules/1", "id": "r", "sheet_percentage": {"decimals": 3}, '
    ...       b'"total": {"method": "mean", "decimals": 3}}')
    'A rule set, rules/1, "r". It can be used.'
    """
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start.startswith((b"{", b"[")) and start:
        return _season("check_scores", data)
    try:
        document = load_json(data)
    except InvalidDocument:
        if b'"score_id"' in start.split(b"\n", 1)[0]:
            return _season("check_scores", data)
        raise
    if isinstance(document, Mapping) and "format" not in document and "score_id" in document:
        return _season("check_scores", data)
    return check_document(document)


def _season(function: str, argument: object) -> str:
    found: str = getattr(import_module("scoring.season.commands"), function)(argument)
    return found


def check_document(document: object) -> str:
    """Say what a parsed document is; raise :class:`InvalidDocument` with every problem in it."""
    reader = Reader.over(document)
    name = reader.take_text("format", required=True)
    if name in _SEASON_FORMATS:
        return _season("check_document", document)
    if name in _CHAMPIONSHIP_FORMATS:
        said: str = import_module("scoring.championships_checking").check_document(document)
        return said
    checks: Mapping[str, Callable[[Reader], str]] = {
        "test/1": _check_test,
        "rules/1": _check_rules,
        "class/1": _check_class,
        "results/1": _check_results,
        "bundle/1": _check_bundle,
        "alignment/1": _check_alignment,
    }
    if name and name not in checks:
        choices = ", ".join((*checks, *_CHAMPIONSHIP_FORMATS, *_SEASON_FORMATS))
        reader.problem("format", f"The format {describe(name)} is not known. Give one of: {choices}.")
    sentence = checks[name](reader) if name in checks else ""
    if reader.problems:
        raise InvalidDocument(reader.problems)
    return sentence


def _check_test(reader: Reader) -> str:
    test = test_from(reader)
    if test is None:
        return ""
    items, maximum = _count(len(test.items), "item"), format_exact(test.maximum)
    return f"A test, test/1, {_name(test.id, test.title)}, {items}, maximum {maximum}. It can be used."


def _check_rules(reader: Reader) -> str:
    rules = rules_from(reader)
    return "" if rules is None else f"A rule set, rules/1, {_name(rules.id, rules.title)}. It can be used."


def _check_class(reader: Reader) -> str:
    found = class_from(reader)
    if found is None:
        return ""
    entries, seats = _count(len(found.entries), "entry", "entries"), _count(len(found.panel), "seat")
    return f"A class, class/1, {_name(found.id, found.title)}, {entries}, {seats}. Its results can be computed."


def _check_results(reader: Reader) -> str:
    results_from(reader)
    entries = _count(len(reader.take_list("entries")), "entry", "entries")
    return f"Results, results/1, of class {describe(reader.value.get('class'))}, {entries}. Their shape is right."


def _check_bundle(reader: Reader) -> str:
    claims = bundle_from(reader, strict=True)
    classes = _count(len(claims), "class", "classes")
    return f"A results bundle, bundle/1, {classes}; its digest is right. Recompute it with verify."


def _check_alignment(reader: Reader) -> str:
    said: str = import_module("scoring.commentary.documents").check_alignment(reader)
    return said


def _name(identity: str, title: str) -> str:
    return f'"{identity}" ({title})' if title else f'"{identity}"'


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
