"""A sheet as it was typed at the desk: read into changes, with every problem, and shown again as typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import scoring
from competitions.desk.paper import read_total
from competitions.models import Sheet
from competitions.services.sheets import SheetChanges, clean_text, sheet_record
from scoring.exact import format_units, parse_decimal
from scoring.marks import InvalidMark, parse_typed_mark

MOST_ERRORS = 20
EMPTY: dict[str, Any] = {
    "marks": {},
    "remarks": {},
    "overall_remarks": "",
    "given_result": None,
    "typed_total": "",
    "substitutes": [],
    "signed": False,
}


def mark_as_written(tenths: int | None) -> str:
    """Write a mark with its decimal, as on paper: 7.0; nothing for a gap."""
    return "" if tenths is None else format_units(tenths, decimals=1)


@dataclass(slots=True)
class TypedSheet:
    """What stands in the fields of the keying page; ``values`` is by field name, always text.

    Fields: ``mark-7``, ``remark-7``, ``substitute-7``, ``overall``, ``total``, ``signed``, ``given_kind``, ``given``,
    ``errors``. ``record`` is the sheet they amount to, as a revision keeps it; of use when ``problems`` is empty.
    """

    values: dict[str, str]
    record: dict[str, Any] = field(default_factory=dict)
    errors: int = 0
    problems: list[tuple[str, str]] = field(default_factory=list)

    def changes(self) -> SheetChanges:
        """Return the whole sheet as one change, gaps included."""
        return SheetChanges(
            marks=self.record["marks"],
            remarks=self.record["remarks"],
            overall_remarks=self.record["overall_remarks"],
            given_result=self.record["given_result"],
            typed_total=self.record["typed_total"],
            substitutes=self.record["substitutes"],
            signed=self.record["signed"],
        )


def values_of(sheet: Sheet | None, *, items: Sequence[scoring.Item], errors: int) -> dict[str, str]:
    """Return the fields of the keying page for a sheet as it is kept."""
    return values_of_record(sheet_record(sheet) if sheet else EMPTY, items=items, errors=errors)


def values_of_record(record: Mapping[str, Any], *, items: Sequence[scoring.Item], errors: int) -> dict[str, str]:
    given = record["given_result"] or {}
    values = {
        "overall": record["overall_remarks"],
        "total": record["typed_total"],
        "signed": "1" if record["signed"] else "",
        "given_kind": next(iter(given), "points"),
        "given": next(iter(given.values()), ""),
        "errors": str(errors),
    }
    for item in items:
        values[f"mark-{item.id}"] = mark_as_written(record["marks"].get(item.id))
        values[f"remark-{item.id}"] = record["remarks"].get(item.id, "")
        values[f"substitute-{item.id}"] = "1" if item.id in record["substitutes"] else ""
    return values


def read_typed(data: Mapping[str, str], *, items: Sequence[scoring.Item]) -> TypedSheet:
    """Read the fields; each problem names its field, and nothing that was typed is dropped."""
    names = ["overall", "total", "signed", "given_kind", "given", "errors"]
    for item in items:
        names += [f"mark-{item.id}", f"remark-{item.id}", f"substitute-{item.id}"]
    typed = TypedSheet({name: data.get(name, "") for name in names})
    marks = {item.id: _mark(typed, item) for item in items}
    typed.record = {
        "marks": marks,
        "remarks": {item.id: clean_text(typed.values[f"remark-{item.id}"]) for item in items},
        "overall_remarks": clean_text(typed.values["overall"]),
        "given_result": _given(typed, marked=any(tenths is not None for tenths in marks.values())),
        "typed_total": _total(typed),
        "substitutes": [
            item.id for item in items if typed.values[f"substitute-{item.id}"] and marks[item.id] is not None
        ],
        "signed": bool(typed.values["signed"]),
    }
    typed.errors = _errors(typed)
    return typed


def _mark(typed: TypedSheet, item: scoring.Item) -> int | None:
    text = typed.values[f"mark-{item.id}"].strip()
    if not text:
        return None
    try:
        return parse_typed_mark(text, item.scale)
    except InvalidMark as error:
        typed.problems.append((f"mark-{item.id}", f"{_capital(item.label)}: {error}"))
        return None


def _given(typed: TypedSheet, *, marked: bool) -> dict[str, str] | None:
    text = typed.values["given"].strip().replace(",", ".")
    if not text:
        return None
    kind = "percentage" if typed.values["given_kind"] == "percentage" else "points"
    try:
        value = parse_decimal(text)
    except ValueError:
        value = None
    if value is None or value < 0 or (kind == "percentage" and value > 100):
        example = "67.273, at most 100" if kind == "percentage" else "186.5"
        typed.problems.append(("given", f'"{text}" is not a {kind} result. Enter a number such as {example}.'))
        return None
    if marked:
        typed.problems.append(
            ("given", "This sheet has marks and a result without marks. Clear the marks, or clear the result here.")
        )
    return {kind: text}


def _total(typed: TypedSheet) -> str:
    text = read_total(typed.values["total"])
    if text:
        try:
            parse_decimal(text)
        except ValueError:
            sentence = f'"{text[:20]}" is not a total. Enter the points written on the paper, such as 186.5.'
            typed.problems.append(("total", sentence))
    return text


def _errors(typed: TypedSheet) -> int:
    text = typed.values["errors"].strip() or "0"
    if not (text.isascii() and text.isdigit()) or int(text) > MOST_ERRORS:
        typed.problems.append(
            ("errors", f'"{text}" is not a number of errors of course. Enter a whole number from 0 to {MOST_ERRORS}.')
        )
        return 0
    return int(text)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
