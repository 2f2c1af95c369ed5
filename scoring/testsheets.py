"""``test/1``: the sheet definition of a test, with its movements and collective marks (the items)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

from scoring.documents import InvalidDocument, Reader, describe, take_format
from scoring.exact import format_exact
from scoring.marks import MarkScale

__all__ = ["DEFAULT_PART", "KINDS", "Item", "Test", "read_test", "test_from"]

KINDS = ("set", "freestyle", "quality", "eventing")
DEFAULT_PART = "technical"
HALF_MARKS = MarkScale(0, 100, 5)


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a sheet that is marked: a movement or a collective mark."""

    id: str
    at: str = ""
    text: str = ""
    directive: str = ""
    coefficient: Fraction = Fraction(1)
    collective: bool = False
    part: str = DEFAULT_PART
    scale: MarkScale = HALF_MARKS
    family: str = ""
    gait: str = ""

    @property
    def label(self) -> str:
        """How a sentence names it: ``movement 4`` or ``collective mark G1``."""
        return f"collective mark {self.id}" if self.collective else f"movement {self.id}"

    @property
    def maximum(self) -> Fraction:
        """The most points that the item can bring."""
        return self.coefficient * self.scale.maximum / 10


@dataclass(frozen=True, slots=True)
class Test:
    """A test sheet. A mark in tenths x ``weights[i]`` is points x ``unit``, so that sums stay whole numbers."""

    __test__ = False  # not a test case, whatever its name says to a test runner

    id: str
    title: str
    items: tuple[Item, ...]
    level: str = ""
    highest_of_level: bool = False
    kind: str = "set"
    arena: str = ""
    minutes: Fraction | None = None
    unit: int = field(init=False, repr=False, compare=False)
    weights: tuple[int, ...] = field(init=False, repr=False, compare=False)
    maxima: tuple[int, ...] = field(init=False, repr=False, compare=False)
    positions: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        share = lcm(*(item.coefficient.denominator for item in self.items))
        weights = tuple(int(item.coefficient * share) for item in self.items)
        maxima = tuple(weight * item.scale.maximum for weight, item in zip(weights, self.items, strict=True))
        for name, value in (
            ("unit", 10 * share),
            ("weights", weights),
            ("maxima", maxima),
            ("positions", {item.id: position for position, item in enumerate(self.items)}),
        ):
            object.__setattr__(self, name, value)

    @property
    def maximum(self) -> Fraction:
        """The most points that a sheet can have."""
        return Fraction(sum(self.maxima), self.unit)

    def item(self, item_id: str) -> Item:
        """Return the item with this id; ``KeyError`` when there is none."""
        return self.items[self.positions[item_id]]


def read_test(document: object) -> Test:
    """Read a ``test/1`` document; raise :class:`InvalidDocument` with every problem in it.

    ``mark`` may be left out only where every item has a scale of its own; an item's own scale takes from the test's
    what it does not say itself (``{"step": "0.1"}``). Scales are in tenths, so that a mark is a whole number of them.

    >>> test = read_test({"format": "test/1", "id": "t", "mark": {"min": "0", "max": "10", "step": "0.5"},
    ...                   "items": [{"id": "1"}, {"id": "2", "coefficient": "2"}]})
    >>> test.maximum, test.items[1].coefficient
    (Fraction(30, 1), Fraction(2, 1))
    """
    reader = Reader.over(document)
    test = test_from(reader)
    if reader.problems or test is None:
        raise InvalidDocument(reader.problems)
    return test


def test_from(reader: Reader) -> Test | None:
    """Read a test inside another document, adding to the shared problems; None when it cannot be used."""
    if not reader.usable:
        return None
    before = len(reader.problems)
    take_format(reader, "test/1")
    scale = _scale_from(reader, None)
    seen: set[str] = set()
    items = [_item_from(child, scale, seen) for child in reader.objects("items", required=True)]
    if not items and len(reader.problems) == before:
        reader.problem("items", 'The test has no items. Give at least one with an "id".')
    test = Test(
        id=reader.take_text("id", required=True, empty=False),
        title=reader.take_text("title"),
        items=tuple(items),
        level=reader.take_text("level"),
        highest_of_level=reader.take_bool("highest_of_level"),
        kind=reader.take_choice("kind", KINDS, default="set"),
        arena=reader.take_text("arena"),
        minutes=reader.take_decimal("minutes", least=0, most=1000),
    )
    maximum = reader.take_decimal("maximum", least=0)
    if maximum is not None and len(reader.problems) == before and maximum != test.maximum:
        given, added = format_exact(maximum), format_exact(test.maximum)
        reader.problem("maximum", f"The maximum {given} is not the sum of the items, {added}. Correct one of the two.")
    reader.finish()
    return test if len(reader.problems) == before else None


test_from.__test__ = False  # type: ignore[attr-defined]


def _item_from(reader: Reader, scale: MarkScale | None, seen: set[str]) -> Item:
    own = _scale_from(reader, scale)
    if own is None and not reader.has("mark") and scale is None:
        reader.problem("mark", 'Neither the test nor this item has a scale. Give "mark" with min, max and step.')
    coefficient = reader.take_decimal("coefficient", default=Fraction(1), most=1000)
    if coefficient is not None and coefficient <= 0:
        reader.problem("coefficient", f'"coefficient" is {format_exact(coefficient)}, but must be above 0.')
        coefficient = Fraction(1)
    item = Item(
        id=reader.take_text("id", required=True, empty=False),
        at=reader.take_text("at"),
        text=reader.take_text("text"),
        directive=reader.take_text("directive"),
        coefficient=coefficient or Fraction(1),
        collective=reader.take_bool("collective"),
        part=reader.take_text("part", default=DEFAULT_PART) or DEFAULT_PART,
        scale=own or scale or HALF_MARKS,
        family=reader.take_text("family"),
        gait=reader.take_text("gait"),
    )
    if item.id and item.id in seen:
        reader.problem("id", f"Two items have the id {describe(item.id)}. Give each its own.")
    seen.add(item.id)
    reader.finish()
    return item


def _scale_from(reader: Reader, base: MarkScale | None) -> MarkScale | None:
    child = reader.take_object("mark")
    if child is None:
        return base
    figures = {}
    for key, name in (("min", "minimum"), ("max", "maximum"), ("step", "step")):
        value = child.take_decimal(key, required=base is None, least=0, most=1000)
        if value is not None and (value * 10).denominator != 1:
            child.problem(key, f'"{key}" is {describe(child.raw(key))}. Give whole tenths, such as "0.5".')
            value = None
        figures[name] = getattr(base, name, None) if value is None else int(value * 10)
    child.finish()
    lowest, highest, step = figures["minimum"], figures["maximum"], figures["step"]
    if lowest is None or highest is None or step is None:
        return base
    if step <= 0 or highest <= lowest or (highest - lowest) % step:
        child.problem(None, "The scale does not lead from min to max in whole steps. Correct min, max or step.")
        return base
    return MarkScale(lowest, highest, step)
