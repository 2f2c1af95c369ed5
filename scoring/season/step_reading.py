"""Reading the ``score`` steps of ``scheme/1``."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping
from fractions import Fraction

from scoring.documents import Reader, describe
from scoring.exact import Rounding
from scoring.season.conditions import known_field, read_conditions
from scoring.season.ledger import NUMBERS
from scoring.season.steps import (
    Bands,
    Change,
    Constant,
    FromStarters,
    Linear,
    Places,
    PlacesByStarters,
    PlaceTable,
    Plus,
    RidersBeaten,
    Round,
    Step,
    Steps,
    Take,
    When,
)
from scoring.season.tables import Table, read_decimal, read_entries, read_table

__all__ = ["read_round", "read_steps"]


def read_steps(reader: Reader, key: str) -> Steps:
    """Read the list of steps under ``key``."""
    steps = []
    for part in reader.objects(key):
        step = _read_step(part)
        if step is not None:
            steps.append(step)
    return tuple(steps)


def _read_step(part: Reader) -> Step | None:
    names = [name for name in _STEPS if name in part.value]
    if len(names) != 1:
        part.problem(None, f"Here stand {len(names)} steps, but one is needed. Give one of: {', '.join(_STEPS)}.")
        return None
    step = _STEPS[names[0]](part)
    part.finish(known=names)
    return step


def _read_take(part: Reader) -> Step | None:
    field = part.take_choice("take", NUMBERS, required=True)
    return Take(field) if field else None


def _read_amount(part: Reader, name: str) -> Fraction | None:
    return part.take_decimal(name, required=True)


def _read_constant(part: Reader) -> Step | None:
    amount = _read_amount(part, "constant")
    return None if amount is None else Constant(amount)


def _read_beaten(part: Reader) -> Step | None:
    each = _read_amount(part, "riders_beaten")
    return None if each is None else RidersBeaten(each)


def _read_shared(part: Reader) -> str:
    return part.take_choice("shared", ("same", "mean", "dense"), default="same")


def _read_place_table(part: Reader) -> PlaceTable:
    points: dict[int, Fraction] = {}
    other = Fraction(0)
    for key in part.value:
        amount = read_decimal(part, key, part.raw(key))
        if amount is None:
            continue
        if key == "*":
            other = amount
        elif re.fullmatch(r"[1-9]\d{0,3}", key, re.ASCII):
            points[int(key)] = amount
        else:
            part.problem(key, f'"{key}" is no place. Give a whole number from 1, or * for every other place.')
    return PlaceTable(points, other)


def _read_places(part: Reader) -> Step | None:
    shared = _read_shared(part)
    table = part.take_object("places", required=True)
    if table is not None and not table.value:
        part.problem("places", "The table is empty. Give the points of at least one place.")
    return None if table is None else Places(_read_place_table(table), shared)


def _read_places_by_starters(part: Reader) -> Step | None:
    shared = _read_shared(part)
    sizes = part.take_object("places_by_starters", required=True)
    if sizes is None:
        return None
    if not sizes.value:
        part.problem("places_by_starters", "The table is empty. Give the points for at least one size of class.")
    tables = []
    for key in sizes.value:
        span = _read_span(sizes, key)
        table = sizes.take_object(key, required=True)
        if span is not None and table is not None:
            tables.append((*span, _read_place_table(table)))
    tables.sort(key=lambda entry: entry[0])
    for (least, most, _), (next_least, _, _) in itertools.pairwise(tables):
        if most is None or most >= next_least:
            sizes.problem(None, f"The sizes from {least} and from {next_least} starters overlap. Keep them apart.")
    return PlacesByStarters(tuple(tables), shared)


def _read_span(sizes: Reader, key: str) -> tuple[int, int | None] | None:
    """Read a size of class: ``3``, ``3-5`` or ``5+``."""
    match = re.fullmatch(r"(\d{1,4})(?:(\+)|-(\d{1,4}))?", key, re.ASCII)
    if match is None or (match[3] is not None and int(match[3]) < int(match[1])):
        sizes.problem(key, f'"{key}" is no number of starters. Write 3, 3-5 or 5+.')
        return None
    least = int(match[1])
    return (least, None) if match[2] else (least, int(match[3]) if match[3] else least)


def _read_from_starters(part: Reader) -> Step | None:
    shared = _read_shared(part)
    inner = part.take_object("from_starters", required=True)
    if inner is None:
        return None
    most = inner.take_decimal("most", required=True, least=1, most=1000)
    inner.finish()
    return None if most is None else FromStarters(most, shared)


def _read_bands(part: Reader) -> Step | None:
    bands = []
    for index, entry in enumerate(part.take_list("bands", required=True)):
        key = f"bands[{index}]"
        if not isinstance(entry, list) or len(entry) != 2:
            part.problem(key, f'A band is {describe(entry)}. Give its lower bound and its points: ["60", "1"].')
            continue
        bound, points = (read_decimal(part, key, value) for value in entry)
        if bound is not None and points is not None:
            bands.append((bound, points))
    if part.raw("bands") == []:
        part.problem("bands", "There is no band inside. Give at least one lower bound with its points.")
    bands.sort(key=lambda band: band[0])
    if any(one[0] == two[0] for one, two in itertools.pairwise(bands)):
        part.problem("bands", "Two bands have the same lower bound. Keep one of them.")
    below = part.take_decimal("below", default=Fraction(0))
    return Bands(tuple(bands), below or Fraction(0))


def _read_plain_change(how: str) -> Callable[[Reader], Step | None]:
    def read(part: Reader) -> Step | None:
        amount = _read_amount(part, how)
        if how == "divide" and amount == 0:
            part.problem(how, "Nothing can be divided by 0. Give another number.")
            return None
        return None if amount is None else Change(how, amount)

    return read


def _read_table_change(how: str) -> Callable[[Reader], Step | None]:
    def read(part: Reader) -> Step | None:
        inner = part.take_object(f"{how}_by", required=True)
        table = None if inner is None else read_table(inner)
        return None if table is None else Change(how, table)

    return read


def _read_linear(part: Reader) -> Step | None:
    inner = part.take_object("linear", required=True)
    if inner is None:
        return None
    if len(inner.value) != 1 or not known_field(next(iter(inner.value))):
        inner.problem(None, "A line depends on exactly one field of the ledger, such as kind.")
        return None
    field = next(iter(inner.value))
    lines = read_entries(inner, field, _read_line) or {}
    return Linear(
        Table(field, {value: line[0] for value, line in lines.items()}),
        Table(field, {value: line[1] for value, line in lines.items()}),
    )


def _read_line(entries: Reader, key: str) -> tuple[Fraction, Fraction] | None:
    raw = entries.raw(key)
    if not isinstance(raw, list) or len(raw) != 2:
        entries.problem(key, f'A line is {describe(raw)}. Give its two figures a and b of a x + b: ["10", "-500"].')
        return None
    slope, offset = (read_decimal(entries, key, value) for value in raw)
    return None if slope is None or offset is None else (slope, offset)


def read_round(part: Reader, key: str, *, required: bool = False) -> Round | None:
    """Read ``{"decimals": 0, "rounding": "half-up"}`` under ``key``."""
    inner = part.take_object(key, required=required)
    if inner is None:
        return None
    decimals = inner.take_int("decimals", required=True, least=0, most=9)
    rounding = Rounding(inner.take_choice("rounding", tuple(Rounding), default=Rounding.HALF_UP))
    inner.finish()
    return None if decimals is None else Round(decimals, rounding)


def _read_round_step(part: Reader) -> Step | None:
    return read_round(part, "round", required=True)


def _read_plus(part: Reader) -> Step | None:
    steps = read_steps(part, "plus")
    if part.raw("plus") == []:
        part.problem("plus", "There is no step inside. Give the steps of the number to be added.")
    return Plus(steps)


def _read_when(part: Reader) -> Step | None:
    conditions = read_conditions(part, "when")
    if part.raw("when") in (None, []):
        part.problem("when", "There is no condition. Give at least one.")
    if not part.raw("then") and not part.raw("else"):
        part.problem("then", "There is no step that follows. Give at least one under then or else.")
    return When(conditions, read_steps(part, "then"), read_steps(part, "else"))


_STEPS: Mapping[str, Callable[[Reader], Step | None]] = {
    "take": _read_take,
    "constant": _read_constant,
    "places": _read_places,
    "places_by_starters": _read_places_by_starters,
    "from_starters": _read_from_starters,
    "riders_beaten": _read_beaten,
    "bands": _read_bands,
    "multiply": _read_plain_change("multiply"),
    "divide": _read_plain_change("divide"),
    "add": _read_plain_change("add"),
    "multiply_by": _read_table_change("multiply"),
    "add_by": _read_table_change("add"),
    "linear": _read_linear,
    "round": _read_round_step,
    "plus": _read_plus,
    "when": _read_when,
}
