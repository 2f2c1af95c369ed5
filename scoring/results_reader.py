"""Reading ``results/1`` as a document made elsewhere: its shape, and that it does not contradict itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from scoring.classes import STATUSES
from scoring.documents import InvalidDocument, Problem, Reader, describe, take_format

__all__ = ["read_results", "results_from"]


def read_results(document: object) -> dict[str, object]:
    """Check a ``results/1`` document and return it; raise :class:`InvalidDocument` with every problem in it."""
    reader = Reader.over(document)
    results_from(reader)
    if reader.problems:
        raise InvalidDocument(reader.problems)
    return dict(reader.value)


def results_from(reader: Reader) -> None:
    """Check results inside another document, adding to the shared problems."""
    if not reader.usable:
        return
    take_format(reader, "results/1")
    reader.take_text("class", required=True, empty=False)
    reader.take_text("rules", required=True, empty=False)
    _apart(reader.objects("entries", required=True), "number", _entry)
    _apart(reader.objects("teams", required=True), "team", _team)
    reader.finish()


def _apart(rows: Iterator[Reader], key: str, read: Callable[[Reader], str]) -> None:
    """Read rows that must differ in one key."""
    seen: set[str] = set()
    for row in rows:
        name = read(row)
        if name and name in seen:
            row.problem(key, f"The {key} {describe(name)} stands twice. Keep one of the two.")
        seen.add(name)


_ROW = ("placing", "shared", "total", "points", "penalty", "so_far", "collectives", "sheets", "parts", "tie", "reason")


def _stand(reader: Reader, keys: tuple[str, ...]) -> None:
    """Report the keys that do not stand in an object, not even as null."""
    for key in keys:
        if key not in reader.value:
            reader.problem(key, f'"{key}" is missing. Give it, as null where there is nothing to say.')


def _entry(reader: Reader) -> str:
    _stand(reader, (*_ROW, "hors_concours", "working"))
    number = reader.take_text("number", required=True, empty=False)
    status = reader.take_choice("status", STATUSES, required=True)
    hors_concours = reader.take_bool("hors_concours")
    placing = _placing(reader, "placing")
    reader.take_bool("shared")
    figures = {key: _figure(reader, key) for key in ("total", "points", "penalty", "so_far", "collectives")}
    _sheets(reader)
    _parts(reader)
    _tie(reader)
    reader.take_text("reason")
    _texts(reader, "working")
    reader.finish()
    if placing is not None and (status not in ("completed", "") or hors_concours):
        reader.problem("placing", "Only a completed entry that is not hors concours can have a place. Set it to null.")
    if status != "completed" and figures["total"] is not None:
        reader.problem("total", "Only a completed entry has a total. Set it to null.")
    return number


def _figure(reader: Reader, key: str) -> object:
    """Take a figure of an output document: text of a plain decimal, or null; a bare number is refused."""
    reader.take_decimal(key)
    value = reader.raw(key)
    if value is not None and not isinstance(value, str | list | dict | bool):
        reader.problem(key, f'"{key}" is the number {describe(value)}. Figures in results are text, such as "70.044".')
    return value


def _placing(reader: Reader, key: str) -> int | None:
    return reader.take_int(key, least=1)


def _sheets(reader: Reader) -> None:
    sheets = reader.take_object("sheets")
    if sheets is None:
        return
    for seat in sheets.value:
        sheet = sheets.take_object(seat)
        if sheet is not None:
            _stand(sheet, ("points", "percentage", "place", "adjusted_to"))
            for key in ("points", "percentage", "adjusted_to"):
                _figure(sheet, key)
            _placing(sheet, "place")
            sheet.finish()


def _parts(reader: Reader) -> None:
    parts = reader.take_object("parts")
    if parts is not None:
        for name in parts.value:
            _figure(parts, name)


def _tie(reader: Reader) -> None:
    tie = reader.take_object("tie")
    if tie is not None:
        _stand(tie, ("with", "step", "value"))
        _texts(tie, "with")
        tie.take_text("step")
        _figure(tie, "value")
        tie.finish()


def _texts(reader: Reader, key: str) -> None:
    for index, text in enumerate(reader.take_list(key)):
        if not isinstance(text, str):
            message = f"Here stands {describe(text)}. Give a text in quotation marks."
            reader.problems.append(Problem(f"{reader.at(key)}[{index}]", message))


def _team(reader: Reader) -> str:
    _stand(reader, ("placing", "value", "counting"))
    team = reader.take_text("team", required=True, empty=False)
    _placing(reader, "placing")
    _figure(reader, "value")
    _texts(reader, "counting")
    reader.finish()
    return team
