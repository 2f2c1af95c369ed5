"""The bar that a unit's figure must reach: stage ``threshold`` of a scheme."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from scoring.documents import Reader
from scoring.season.ledger import FieldValue, as_text, number_text
from scoring.season.tables import Table, read_bar

__all__ = ["Threshold", "read_threshold"]

_COMPARE: Mapping[str, Callable[[Fraction, Fraction], bool]] = {
    "at_least": operator.ge, "above": operator.gt, "at_most": operator.le, "below": operator.lt,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Threshold:
    """The published figure compared with a bar, which may depend on the field of a group."""

    how: str
    bar: Fraction | Table

    def bar_for(self, group: tuple[tuple[str, FieldValue], ...]) -> Fraction | None:
        """Return the bar of a group; ``None`` where the scheme has none for it, or the group's value is unknown."""
        values, bar = dict(group), self.bar
        while isinstance(bar, Table):
            value = values.get(bar.field)
            figure = None if value is None else bar.figures.get(as_text(value), bar.figures.get("*"))
            if figure is None:
                return None
            bar = figure
        return bar

    def met(self, figure: Fraction, bar: Fraction) -> bool:
        return _COMPARE[self.how](figure, bar)

    def words(self) -> str:
        bar = self.bar.words() if isinstance(self.bar, Table) else number_text(self.bar)
        return f"The value must be {self.how.replace('_', ' ')} {bar}."


def read_threshold(reader: Reader, *, ascending: bool, group_by: tuple[str, ...]) -> Threshold | None:
    """Read ``threshold``: a bar, or a bar under ``at_least``, ``above``, ``at_most`` or ``below``.

    A bar alone means that value or a better one.
    """
    raw = reader.raw("threshold")
    if raw is None:
        return None
    how = "at_most" if ascending else "at_least"
    if isinstance(raw, Mapping) and any(name in raw for name in _COMPARE):
        part = Reader.over(raw, path=reader.at("threshold"), problems=reader.problems)
        names = [name for name in _COMPARE if name in raw]
        if len(names) > 1:
            part.problem(None, f"The value is compared once. Give one of: {', '.join(_COMPARE)}.")
        how = names[0]
        bar = read_bar(part, how)
        part.finish(known=names)
    else:
        bar = read_bar(reader, "threshold")
    for field in {field for field, _ in bar.named()} if isinstance(bar, Table) else set():
        if field not in group_by:
            message = f'The bar depends on "{field}", which the tables are not divided by. Add it to group_by.'
            reader.problem("threshold", message)
    return None if bar is None else Threshold(how, bar)
