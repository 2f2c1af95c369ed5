"""Nodes for tables in a document: points by place, figures by level, bands, lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from riders.pages.scheme_nodes import (
    MISSING,
    Drawing,
    Field,
    Json,
    Node,
    Shown,
    Typed,
    as_number,
    below,
    is_text,
    same,
    written,
)
from scoring.season.ledger import spoken

_SPARE = 1


@dataclass(frozen=True)
class Rows:
    """A table of single values, a row each: ``map`` (key and value), ``lines`` (key and two values), ``pairs`` (two).

    There is always an empty row to be filled in; a row that is emptied goes.
    """

    columns: tuple[str, ...]
    shape: str = "map"
    hint: str = ""

    def fits(self, value: Json) -> bool:
        if self.shape == "pairs":
            return value is None or (isinstance(value, list) and all(_is_pair(one) for one in value))
        if not isinstance(value, Mapping) or any(key.startswith("x-") for key in value):
            return value is None
        return all(is_text(one) if self.shape == "map" else _is_pair(one) for one in value.values())

    def _rows(self, value: Json) -> list[tuple[Json, ...]]:
        if not value:
            return []
        if self.shape == "pairs":
            return [tuple(one) for one in value]
        return [(key, *(one if self.shape == "lines" else [one])) for key, one in value.items()]

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        rows = [] if value is MISSING else self._rows(value)
        shown = Shown("riders/scheme_block_rows.html", path, label, self.hint)
        shown.choices = [(column, column) for column in self.columns]
        for number, row in enumerate([*rows, *([("",) * len(self.columns)] * _SPARE)]):
            shown.lines.append(
                [
                    (f"{path}#{number}.{n}", written(one), f"{column}, row {number + 1}")
                    for n, (one, column) in enumerate(zip(row, self.columns, strict=True))
                ]
            )
        shown.acts = [(f"row {path}", "Another row")]
        return drawing.add(shown)

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        rows = [] if value is MISSING else self._rows(value)
        after = []
        for number, row in enumerate([*rows, *([("",) * len(self.columns)] * _SPARE)]):
            read = tuple(self._cell(path, number, n, one, typed) for n, one in enumerate(row))
            untouched = number < len(rows) and read == row
            if untouched or any(written(one).strip() for one in read):
                after.append(read)
        if after == rows:
            return value
        return self._value(after)

    def _cell(self, path: str, number: int, n: int, before: Json, typed: Typed) -> Json:
        text = typed.get(f"{path}#{number}.{n}")
        if text is None or same(written(before), text):
            return before
        return text.strip() if n == 0 and self.shape != "pairs" else as_number(text)

    def _value(self, rows: list[tuple[Json, ...]]) -> Json:
        if self.shape == "pairs":
            return [list(row) for row in rows]
        table: dict[str, Json] = {}
        for key, *rest in rows:
            name = str(key)
            while name in table:
                name += " (again)"
            table[name] = list(rest) if self.shape == "lines" else rest[0]
        return table


def _is_pair(value: Json) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(is_text(one) for one in value)


@dataclass(frozen=True)
class Table:
    """Figures that depend on one field: ``{"level": {"novice": "66", "*": "60"}}``; deeper tables are shown as text."""

    fields: tuple[tuple[str, str], ...]
    rows: Rows

    def fits(self, value: Json) -> bool:
        if not isinstance(value, Mapping) or len(value) != 1:
            return False
        (inner,) = value.values()
        return isinstance(inner, Mapping) and self.rows.fits(inner)

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        ((name, inner),) = value.items()
        shown = drawing.add(Shown("riders/scheme_block_record.html", path, label))
        choice = Field("choice", self.fields, redraws=True)
        shown.parts.append(choice.draw(name, below(path, "?by"), "depends on", drawing))
        table = self.rows.draw(inner, below(path, name), f"for each {spoken(name)}", drawing)
        table.options = drawing.vocabulary.get(name, [])
        shown.parts.append(table)
        return shown

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        ((name, inner),) = value.items()
        table = self.rows.read(inner, below(path, name), typed)
        chosen = typed.get(below(path, "?by"))
        return {chosen or name: {} if table is MISSING else table}


@dataclass(frozen=True)
class Entries:
    """A mapping whose values are blocks of their own, each under a key that is typed: points by size of class."""

    key: str
    node: Node
    blank: Json
    hint: str = ""

    def fits(self, value: Json) -> bool:
        return isinstance(value, Mapping) and all(self.node.fits(one) for one in value.values())

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        shown = drawing.add(Shown("riders/scheme_block_many.html", path, label, self.hint))
        for number, (name, one) in enumerate(value.items()):
            at = f"{path}#{number}"
            part = Shown("riders/scheme_block_record.html", at, f"{self.key} {name}")
            part.moves = [(f"remove {at}", "Remove")]
            part.parts = [
                Field("text", kept=True).draw(name, f"{at}?key", self.key, drawing),
                self.node.draw(one, below(path, name), label, drawing),
            ]
            shown.parts.append(drawing.add(part))
        shown.acts = [(f"add {path} 0", f"Add {self.key}")]
        return shown

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        after: dict[str, Json] = {}
        for number, (name, one) in enumerate(value.items()):
            at = f"{path}#{number}"
            if typed.does("remove", at):
                continue
            read = self.node.read(one, below(path, name), typed)
            key = str(Field("text", kept=True).read(name, f"{at}?key", typed))
            while key in after:
                key += " (again)"
            after[key] = {} if read is MISSING else read
        if typed.added(path) is not None:
            key = ""
            while key in after:
                key += " (again)"
            after[key] = self.blank
        return after
