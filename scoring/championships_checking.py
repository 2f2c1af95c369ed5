"""Checking ``championship/1`` and ``championship-results/1``, and the command that computes one from the other."""

from __future__ import annotations

import json
from collections.abc import Iterator

from scoring.championships import FIGURES, METHODS
from scoring.championships_reader import championship_from, read_championship
from scoring.championships_results import compute_championship
from scoring.classes import STATUSES
from scoring.documents import InvalidDocument, Problem, Reader, describe, load_json, take_format

__all__ = ["championship_results_from", "check_document", "results_text"]

_ROW = ("placing", "shared", "value", "tie", "reason", "working")


def check_document(document: object) -> str:
    """Say what a championship document is; raise :class:`InvalidDocument` with every problem in it."""
    reader = Reader.over(document)
    said = _check_results(reader) if reader.value.get("format") == "championship-results/1" else _check_rule(reader)
    if reader.problems:
        raise InvalidDocument(reader.problems)
    return said


def results_text(data: bytes) -> str:
    """Compute a championship from the bytes of its document and return ``championship-results/1`` as JSON text."""
    found = compute_championship(read_championship(load_json(data)))
    return json.dumps(found.as_document(), indent=2, ensure_ascii=False)


def _check_rule(reader: Reader) -> str:
    found = championship_from(reader)
    if found is None:
        return ""
    units = {unit for one in found.classes for unit in one.entries}
    title = f" ({found.rules.title})" if found.rules.title else ""
    return (
        f'A championship, championship/1, "{found.rules.id}"{title}, {len(found.classes)} classes, '
        f"{_count(len(units), found.rules.unit)}. Its results can be computed."
    )


def _check_results(reader: Reader) -> str:
    championship_results_from(reader)
    rows = _count(len(reader.take_list("rows")), "row")
    name = describe(reader.value.get("championship"))
    return f"Results, championship-results/1, of championship {name}, {rows}. Their shape is right."


def championship_results_from(reader: Reader) -> None:
    """Check the shape of championship results made elsewhere, adding to the shared problems."""
    take_format(reader, "championship-results/1")
    reader.take_text("championship", required=True, empty=False)
    reader.take_choice("method", METHODS, required=True)
    reader.take_choice("of", FIGURES, required=True)
    for child in reader.objects("classes", required=True):
        child.take_text("class", required=True, empty=False)
        child.take_text("title")
        child.finish()
    for key, name in (("rows", "unit"), ("teams", "team")):
        names = [_row(child, name) for child in reader.objects(key, required=True)]
        for repeated in _repeated(names):
            reader.problem(key, f'The {name} "{repeated}" stands twice. Keep it once.')
    reader.finish()


def _row(reader: Reader, name: str) -> str:
    lists = ("classes", "members") if name == "team" else ("classes",)
    _stand(reader, (*_ROW, *lists))
    found = reader.take_text(name, required=True, empty=False)
    placing = reader.take_int("placing", least=1)
    reader.take_bool("shared")
    value = _figure(reader, "value")
    reason = reader.take_text("reason")
    if placing is not None and value is None:
        reader.problem("value", "What has a place has a value. Give it, or set the place to null.")
    if placing is not None and reason:
        reader.problem("reason", "What has a place needs no reason for having none. Set it to null.")
    for key in lists:
        for child in reader.objects(key):
            _cell(child, "unit" if key == "members" else "class", entry=name == "unit")
    _tie(reader)
    _texts(reader, "working")
    reader.finish()
    return found


def _cell(reader: Reader, what: str, *, entry: bool) -> None:
    keys = ("value", "counts", "drop_out")
    _stand(reader, ("number", "status", *keys) if entry else keys)
    reader.take_text(what, required=True, empty=False)
    if entry:
        reader.take_text("number")
        reader.take_choice("status", STATUSES)
    _figure(reader, "value")
    reader.take_bool("counts")
    reader.take_bool("drop_out")
    reader.finish()


def _tie(reader: Reader) -> None:
    tie = reader.take_object("tie")
    if tie is not None:
        _stand(tie, ("with", "step", "value"))
        _texts(tie, "with")
        tie.take_text("step")
        _figure(tie, "value")
        tie.finish()


def _stand(reader: Reader, keys: tuple[str, ...]) -> None:
    """Report the keys that do not stand in an object, not even as null."""
    for key in keys:
        if key not in reader.value:
            reader.problem(key, f'"{key}" is missing. Give it, as null where there is nothing to say.')


def _texts(reader: Reader, key: str) -> None:
    for index, text in enumerate(reader.take_list(key)):
        if not isinstance(text, str):
            message = f"Here stands {describe(text)}. Give a text in quotation marks."
            reader.problems.append(Problem(f"{reader.at(key)}[{index}]", message))


def _figure(reader: Reader, key: str) -> object:
    reader.take_decimal(key)
    value = reader.raw(key)
    if value is not None and not isinstance(value, str | list | dict | bool):
        reader.problem(key, f'"{key}" is the number {describe(value)}. Figures in results are text, such as "70.044".')
    return value


def _repeated(names: list[str]) -> Iterator[str]:
    seen: set[str] = set()
    for name in names:
        if name and name in seen:
            yield name
        seen.add(name)


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"
