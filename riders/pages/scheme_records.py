"""Nodes that hold others: objects and their keys, one of several options, lists of blocks, blocks of several kinds."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from riders.pages.scheme_nodes import (
    MISSING,
    RAW,
    Drawing,
    Field,
    Json,
    Node,
    Shown,
    Typed,
    below,
    draw_node,
    dumped,
    is_broken,
    is_text,
    read_node,
)


class Part(Protocol):
    """A part of a record: one key of it, or several of which one stands there."""

    def names(self) -> tuple[str, ...]: ...

    def draw(self, record: Mapping[str, Json], path: str, drawing: Drawing) -> Iterator[Shown]: ...

    def read(self, record: dict[str, Json], path: str, typed: Typed) -> None:
        """Change the record as typed; keys keep their places."""
        ...


@dataclass(frozen=True)
class Key:
    """One key of a record. With ``blank`` the key is a block that can be put there and taken away."""

    name: str
    label: str
    node: Node
    blank: Json = MISSING
    put: str = ""

    def names(self) -> tuple[str, ...]:
        return (self.name,)

    def draw(self, record: Mapping[str, Json], path: str, drawing: Drawing) -> Iterator[Shown]:
        value, at = record.get(self.name, MISSING), below(path, self.name)
        if self.blank is MISSING:
            yield draw_node(self.node, value, at, self.label, drawing)
        elif value is MISSING or value is None:
            yield drawing.add(
                Shown("riders/scheme_block_absent.html", at, self.label, acts=[(f"put {at}", self.put or self.label)])
            )
        else:
            shown = draw_node(self.node, value, at, self.label, drawing)
            shown.moves.append((f"drop {at}", "Remove"))
            yield shown

    def read(self, record: dict[str, Json], path: str, typed: Typed) -> None:
        at = below(path, self.name)
        before = record.get(self.name, MISSING)
        if self.blank is not MISSING and typed.does("put", at):
            record[self.name] = _copied(self.blank)
            return
        if self.blank is not MISSING and typed.does("drop", at):
            record.pop(self.name, None)
            return
        drawn_absent = self.blank is not MISSING and (before is MISSING or before is None)
        after = before if drawn_absent else read_node(self.node, before, at, typed)
        if after is MISSING and before is not None:
            record.pop(self.name, None)
        elif after is not MISSING:
            record[self.name] = after


def _copied(value: Json) -> Json:
    return json.loads(json.dumps(value))


@dataclass(frozen=True)
class Choice:
    """Keys of which only those of one option stand in a record: a requirement's bound, what the season is."""

    name: str
    label: str
    options: tuple[Option, ...]
    hint: str = ""

    def names(self) -> tuple[str, ...]:
        return tuple(name for option in self.options for name in option.names())

    def _present(self, record: Mapping[str, Json]) -> int:
        for number, option in enumerate(self.options):
            if any(record.get(name, MISSING) is not MISSING for name in option.names()):
                return number
        return next((number for number, option in enumerate(self.options) if not option.keys), 0)

    def draw(self, record: Mapping[str, Json], path: str, drawing: Drawing) -> Iterator[Shown]:
        present = self._present(record)
        choices = [(str(number), option.label) for number, option in enumerate(self.options)]
        at = below(path, f"?{self.name}")
        yield drawing.add(
            Shown(
                "riders/scheme_block_choice.html",
                at,
                self.label,
                self.hint,
                str(present),
                choices=choices,
                redraws=True,
            )
        )
        for key in self.options[present].keys:
            yield from key.draw(record, path, drawing)
        for name in self.names():
            if name not in self.options[present].names() and name in record:
                yield RAW.draw(record[name], below(path, name), name, drawing)

    def read(self, record: dict[str, Json], path: str, typed: Typed) -> None:
        present = self._present(record)
        chosen = typed.get(below(path, f"?{self.name}"))
        for key in self.options[present].keys:
            key.read(record, path, typed)
        for name in self.names():
            if name not in self.options[present].names() and name in record:
                Key(name, name, RAW).read(record, path, typed)
        wanted = int(chosen) if chosen is not None and chosen.isdecimal() and len(chosen) < 3 else present
        if wanted != present and wanted < len(self.options):
            self._switch(record, present, wanted)

    def _switch(self, record: dict[str, Json], present: int, chosen: int) -> None:
        """Put the keys of another option in the place of these; a single value is carried over."""
        carried = [record[name] for name in self.options[present].names() if name in record]
        option = self.options[chosen]
        fresh = {key.name: _copied(blank) for key, blank in zip(option.keys, option.blanks, strict=True)}
        if len(carried) == 1 and len(option.keys) == 1 and is_text(carried[0]):
            (key,) = option.keys
            if isinstance(key.node, Field) and key.node.kind in ("whole", "decimal", "text"):
                fresh[key.name] = carried[0]
        items, done = [], False
        for name, value in record.items():
            if name not in self.options[present].names():
                items.append((name, value))
            elif not done:
                items += fresh.items()
                done = True
        record.clear()
        record.update(items if done else [*items, *fresh.items()])


@dataclass(frozen=True)
class Option:
    """One option of a choice, with the keys that stand there under it and what they hold at first."""

    label: str
    keys: tuple[Key, ...]
    blanks: tuple[Json, ...]

    def names(self) -> tuple[str, ...]:
        return tuple(key.name for key in self.keys)


@dataclass(frozen=True)
class Record:
    """An object with known keys. Keys that start with ``x-`` are kept and shown; others can be corrected as text."""

    parts: tuple[Part, ...]

    def fits(self, value: Json) -> bool:
        return isinstance(value, Mapping) and not is_broken(value)

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        record = {} if value is MISSING else value
        shown = drawing.add(Shown("riders/scheme_block_record.html", path, label))
        for part in self.parts:
            shown.parts += part.draw(record, path, drawing)
        for name in self._strange(record):
            shown.parts.append(RAW.draw(record[name], below(path, name), f"Unknown: {name}", drawing))
        shown.sentences = [f"{name}: {noted(record[name])}" for name in record if name.startswith("x-")]
        return shown

    def _strange(self, record: Mapping[str, Json]) -> list[str]:
        known = {name for part in self.parts for name in part.names()}
        return [name for name in record if name not in known and not name.startswith("x-")]

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        record = {} if value is MISSING else dict(value)
        strange = self._strange(record)
        for part in self.parts:
            part.read(record, path, typed)
        for name in strange:
            Key(name, name, RAW).read(record, path, typed)
        return MISSING if value is MISSING and not record else record


def noted(value: Json) -> str:
    """Say what a note of a document's own holds, which counts for nothing."""
    if isinstance(value, list):
        return "; ".join(map(noted, value))
    return value if isinstance(value, str) else dumped(value)


@dataclass(frozen=True)
class Many:
    """A list of blocks that are added, removed and put in order; ``single`` where one may stand without its list."""

    item: Node
    noun: str
    blanks: tuple[tuple[str, Json], ...]
    single: bool = False
    hint: str = ""

    def fits(self, value: Json) -> bool:
        return value is None or isinstance(value, list) or (self.single and isinstance(value, Mapping))

    def _items(self, value: Json, path: str) -> list[tuple[str, Json]]:
        if isinstance(value, Mapping):
            return [(path + "[]", value)]
        return [(f"{path}[{index}]", one) for index, one in enumerate(value or [])]

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        shown = drawing.add(Shown("riders/scheme_block_many.html", path, label, self.hint))
        items = self._items(value, path)
        for number, (at, one) in enumerate(items):
            part = draw_node(self.item, one, at, f"{self.noun} {number + 1}".strip(), drawing)
            part.moves += [(f"up {at}", "Up")] if number else []
            part.moves += [(f"down {at}", "Down")] if number < len(items) - 1 else []
            part.moves.append((f"remove {at}", "Remove"))
            shown.parts.append(part)
        shown.acts = [(f"add {path} {number}", text) for number, (text, _) in enumerate(self.blanks)]
        shown.folded = not items and ("." in path or "[" in path)
        return shown

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        items = [(at, read_node(self.item, one, at, typed)) for at, one in self._items(value, path)]
        order = [at for at, _ in items]
        for index, at in enumerate(order):
            if typed.does("up", at) and index:
                items[index - 1], items[index] = items[index], items[index - 1]
            elif typed.does("down", at) and index < len(items) - 1:
                items[index], items[index + 1] = items[index + 1], items[index]
        after = [one for at, one in items if one is not MISSING and not typed.does("remove", at)]
        added = typed.added(path)
        if added is not None and added < len(self.blanks):
            after.append(_copied(self.blanks[added][1]))
        if isinstance(value, Mapping) and len(after) == 1:
            return after[0]
        if not after and (value is MISSING or value is None):
            return value
        return after


@dataclass(frozen=True)
class Kind:
    """One kind of block among several; ``key`` is what tells it from the others."""

    key: str
    label: str
    node: Node


@dataclass(frozen=True)
class Kinds:
    """A block of one of several kinds, told by the key that stands in it; ``listed`` where a list may stand too."""

    kinds: tuple[Kind, ...]
    listed: Kind | None = None

    def _kind(self, value: Json) -> Kind | None:
        if isinstance(value, list):
            return self.listed
        if not isinstance(value, Mapping):
            return None
        found = [kind for kind in self.kinds if kind.key in value]
        return found[0] if len(found) == 1 else None

    def fits(self, value: Json) -> bool:
        kind = self._kind(value)
        return kind is not None and kind.node.fits(value)

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        kind = self._kind(value)
        if kind is None:
            return RAW.draw(value, path, label, drawing)
        return kind.node.draw(value, path, kind.label, drawing)

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        kind = self._kind(value)
        return RAW.read(value, path, typed) if kind is None else kind.node.read(value, path, typed)


@dataclass(frozen=True)
class Form:
    """One form that a value may have, and what it is at first when this form is chosen.

    An object has this form only where one of the ``keys`` stands in it, if there are any.
    """

    label: str
    node: Node
    blank: Json
    keys: tuple[str, ...] = ()

    def fits(self, value: Json) -> bool:
        told = not self.keys or (isinstance(value, Mapping) and any(key in value for key in self.keys))
        return value is not None and told and self.node.fits(value)


@dataclass(frozen=True)
class Forms:
    """A value that may have several forms: a figure, or a table of figures. The first that fits is shown."""

    forms: tuple[Form, ...]
    none: str = ""

    def _form(self, value: Json) -> int | None:
        return next((n for n, form in enumerate(self.forms) if form.fits(value)), None)

    def fits(self, value: Json) -> bool:
        return self._form(value) is not None or (value is None and bool(self.none))

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        present = None if value is MISSING else self._form(value)
        shown = Shown("riders/scheme_block_forms.html", path, label)
        choices = [(str(n), form.label) for n, form in enumerate(self.forms)]
        if self.none or present is None:
            choices.insert(0, ("", self.none or "choose"))
        at = below(path, "?form")
        chosen = "" if present is None else str(present)
        shown.parts.append(
            drawing.add(Shown("riders/scheme_block_choice.html", at, label, text=chosen, choices=choices, redraws=True))
        )
        if present is None:
            drawing.add(shown)
        else:
            shown.parts.append(self.forms[present].node.draw(value, path, self.forms[present].label, drawing))
        return shown

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        present = None if value is MISSING else self._form(value)
        chosen = typed.get(below(path, "?form"))
        if chosen is not None and chosen != ("" if present is None else str(present)):
            if chosen.isdecimal() and len(chosen) < 3 and int(chosen) < len(self.forms):
                return _copied(self.forms[int(chosen)].blank)
            return MISSING
        return value if present is None else self.forms[present].node.read(value, path, typed)
