"""What a form of a document is made of: nodes draw a value as blocks and read it back from what was typed.

Reading starts from the value that was drawn: what is typed as it was shown leaves the value as it stood, key order and
kind of number included, so that a document opened and kept unchanged is the same document. Nothing refuses: what is no
number stays in the document as the text that was typed, and the reader of the document says what is wrong with it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Protocol

from scoring.documents import InvalidDocument, load_json

Json = Any


class Missing:
    """Stands for a key that a document does not have."""

    def __bool__(self) -> bool:
        return False


MISSING = Missing()
_COMMA = re.compile(r"\s*(-?\d+),(\d+)\s*", re.ASCII)
_WHOLE = re.compile(r"-?\d{1,9}", re.ASCII)


@dataclass
class Shown:
    """One block or field as the page shows it; ``path`` is its place in the document and the name it is sent by."""

    template: str
    path: str
    label: str = ""
    hint: str = ""
    text: str = ""
    type: str = "text"
    rows: int = 3
    choices: list[tuple[str, str]] = field(default_factory=list)
    options: list[str] = field(default_factory=list)
    parts: list[Shown] = field(default_factory=list)
    acts: list[tuple[str, str]] = field(default_factory=list)
    moves: list[tuple[str, str]] = field(default_factory=list)
    lines: list[list[tuple[str, str, str]]] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    redraws: bool = False
    folded: bool = False

    @property
    def id(self) -> str:
        """An id for the page; the path, with marks that differ for brackets, dots and the like."""
        return "f-" + re.sub(r"[^A-Za-z0-9]", lambda found: f"-{ord(found[0]):x}-", self.path)


@dataclass
class Drawing:
    """What nodes are given to draw with.

    ``shown`` collects every block by its path, ``broken`` those whose text is in no notation that can be read.
    """

    vocabulary: Mapping[str, list[str]] = field(default_factory=dict)
    sentences: Callable[[str], tuple[str, ...]] = lambda _: ()
    shown: dict[str, Shown] = field(default_factory=dict)
    broken: dict[str, Shown] = field(default_factory=dict)

    def add(self, shown: Shown) -> Shown:
        self.shown.setdefault(shown.path, shown)
        return shown


@dataclass(frozen=True)
class Typed:
    """What was sent: texts by name, and the button that was pressed, such as ``up eligible[2]``."""

    texts: Mapping[str, str]
    act: str = ""

    def get(self, name: str) -> str | None:
        text = self.texts.get(name)
        return None if text is None else text.replace("\r\n", "\n").replace("\r", "\n")

    def does(self, verb: str, path: str) -> bool:
        return self.act == f"{verb} {path}"

    def added(self, path: str) -> int | None:
        """Return which of a list's blanks is to be added."""
        verb, _, rest = self.act.partition(" ")
        where, _, number = rest.rpartition(" ")
        return int(number) if verb == "add" and where == path and number.isdecimal() and len(number) < 4 else None


class Node(Protocol):
    """One kind of value in a document."""

    def fits(self, value: Json) -> bool:
        """Tell whether the form can show this value without losing any of it."""
        ...

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown: ...

    def read(self, value: Json, path: str, typed: Typed) -> Json: ...


def draw_node(node: Node, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
    """Draw a value by its node, or as its text where the form cannot show it."""
    fitting = node if value is MISSING or node.fits(value) else RAW
    return fitting.draw(value, path, label, drawing)


def read_node(node: Node, value: Json, path: str, typed: Typed) -> Json:
    """Read a value back from the fields that ``draw_node`` drew for it."""
    return (node if value is MISSING or node.fits(value) else RAW).read(value, path, typed)


def below(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def same(shown: str, typed: str) -> bool:
    """Tell whether a text came back as it was shown; a browser leaves out line ends in fields of one line."""
    return shown == typed or shown.replace("\r", "").replace("\n", "").strip() == typed.replace("\n", "").strip()


def is_text(value: Json) -> bool:
    return isinstance(value, str | int | Decimal) and not isinstance(value, bool)


def written(value: Json) -> str:
    """Return a single value as a field shows it."""
    if value is MISSING or value is None:
        return ""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def as_number(text: str) -> str:
    """Return a decimal as documents write it, where a person has written a comma for the point."""
    match = _COMMA.fullmatch(text)
    return f"{match[1]}.{match[2]}" if match else text.strip()


def as_whole(text: str) -> Json:
    text = text.strip()
    return int(text) if _WHOLE.fullmatch(text) else text


@dataclass(frozen=True)
class Field:
    """A single value: ``kind`` is text, whole, decimal, date, choice or flag. Emptied, its key goes from the document.

    ``default`` is what a missing key means, and is shown for it. ``kept`` keeps an emptied key with an empty text,
    where the key itself says which block this is.
    """

    kind: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    default: str = ""
    kept: bool = False
    redraws: bool = False

    def fits(self, value: Json) -> bool:
        return value is None or (isinstance(value, bool) if self.kind == "flag" else is_text(value))

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        text = self._text(value)
        choices = list(self.choices or (_YES_NO if self.kind == "flag" else ()))
        if choices and text not in dict(choices):
            choices.insert(0, (text, text or "choose"))
        kind = "date" if self.kind == "date" and re.fullmatch(r"(\d{4}-\d\d-\d\d)?", text, re.ASCII) else "text"
        template = "riders/scheme_block_choice.html" if choices else "riders/scheme_block_field.html"
        shown = Shown(template, path, label, self.hint, text, kind, choices=choices, redraws=self.redraws)
        return drawing.add(shown)

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        text = typed.get(path)
        if text is None or same(self._text(value), text):
            return value
        return self._parsed(text)

    def _text(self, value: Json) -> str:
        return self.default if value is MISSING else written(value)

    def _parsed(self, text: str) -> Json:
        if not text.strip():
            return "" if self.kept else MISSING
        if self.kind == "flag" and text in ("yes", "no"):
            return text == "yes"
        if self.kind == "whole":
            return as_whole(text)
        return as_number(text) if self.kind == "decimal" else text.strip()


_YES_NO = (("", "choose"), ("yes", "yes"), ("no", "no"))


@dataclass(frozen=True)
class Lines:
    """A list of texts, one on each line."""

    hint: str = "One on each line."

    def fits(self, value: Json) -> bool:
        return value is None or (
            isinstance(value, list)
            and all(isinstance(one, str) and one.strip() and "\n" not in one and "\r" not in one for one in value)
        )

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        lines = value or []
        return drawing.add(
            Shown(
                "riders/scheme_block_lines.html",
                path,
                label,
                self.hint,
                "\n".join(lines),
                rows=max(2, min(len(lines) + 1, 12)),
            )
        )

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        text = typed.get(path)
        if text is None:
            return value
        lines = [line.strip() for line in text.split("\n") if line.strip()]
        if lines == [one.strip() for one in value or []]:
            return value
        return lines or MISSING


@dataclass(frozen=True)
class Raw:
    """Whatever no block can show: its sentence, and the text of the document itself to be edited with care."""

    def fits(self, value: Json) -> bool:
        return value is not MISSING

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        text = value["x-typed"] if is_broken(value) else "" if value is MISSING else dumped(value)
        shown = Shown(
            "riders/scheme_block_raw.html",
            path,
            label,
            "No block of this form can show this part. It counts as it stands here, in the notation of the rule.",
            text,
            rows=max(3, min(text.count("\n") + 2, 24)),
            sentences=list(drawing.sentences(path)),
        )
        if is_broken(value):
            drawing.broken[path] = shown
        return drawing.add(shown)

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        text = typed.get(path)
        if text is None or text.strip() == (value["x-typed"] if is_broken(value) else dumped(value)).strip():
            return value
        if not text.strip():
            return MISSING
        try:
            return json.loads(json.dumps(load_json(text), default=str))
        except (InvalidDocument, RecursionError):
            return {"x-typed": text, "not JSON": "Correct the notation: braces, quotation marks and commas."}


RAW = Raw()


def is_broken(value: Json) -> bool:
    """Tell whether this stands for text that is no JSON: its second key makes the reader name the block."""
    return isinstance(value, dict) and set(value) == {"x-typed", "not JSON"} and isinstance(value["x-typed"], str)


def dumped(value: Json) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1, default=str)
