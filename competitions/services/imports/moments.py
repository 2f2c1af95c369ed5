"""Moments of a recording and limited view in a sheet of ``class/1``: extras that every reader lets pass."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from competitions.services.imports.marks import SheetDraft
from competitions.services.sheets import SheetChanges, refuse_bad_changes
from riders.errors import InvalidInput
from riders.intake import Problems
from scoring.documents import describe
from scoring.exact import parse_decimal

_EXAMPLE = '{"14": "83.4"}'


def moment_changes(raw: Mapping[str, Any], draft: SheetDraft, *, path: str, problems: Problems) -> SheetChanges | None:
    """Return what ``x-times`` and ``x-limited`` of a sheet would change here, or None; nothing is taken away."""
    kept = draft.kept
    times = _times(raw.get("x-times"), path=f"{path}.x-times", problems=problems)
    limited = _limited(raw.get("x-limited"), path=f"{path}.x-limited", problems=problems)
    fresh = {item: time for item, time in times.items() if kept.times.get(item) != time}
    together = [*kept.limited, *(item for item in limited if item not in kept.limited)]
    if not fresh and together == kept.limited:
        return None
    changes = SheetChanges(times=fresh, limited=together)
    try:
        refuse_bad_changes(draft.book.competition_class, draft.seat, changes)
    except InvalidInput as refused:
        problems += [(f"{path}.x-{where}", sentence) for where, sentence in refused.problems]
    return changes


def _times(given: object, *, path: str, problems: Problems) -> dict[str, int]:
    if given is None:
        return {}
    if not isinstance(given, Mapping):
        problems.append((path, f"{describe(given)} are no moments. Give seconds by item, such as {_EXAMPLE}."))
        return {}
    found = {}
    for item, seconds in given.items():
        try:
            milliseconds = parse_decimal(seconds) * 1000
        except ValueError:
            milliseconds = None
        if milliseconds is None or milliseconds.denominator != 1:
            sentence = f"{describe(seconds)} is no moment. Give seconds with at most three decimals, as in {_EXAMPLE}."
            problems.append((f"{path}.{item}", sentence))
        else:
            found[str(item)] = int(milliseconds)
    return found


def _limited(given: object, *, path: str, problems: Problems) -> list[str]:
    if given is None:
        return []
    if not isinstance(given, list) or not all(isinstance(item, str) for item in given):
        problems.append((path, f'{describe(given)} is no list of items. Give one such as ["14"].'))
        return []
    return given
