"""Figures that depend on a field of the score: ``{"level": {"novice": "66", "*": "60"}}``."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from scoring.documents import Reader, describe
from scoring.exact import parse_decimal
from scoring.season.ledger import FIELDS, NUMBERS, Score, as_text, number_text, spoken

__all__ = ["Table", "UnknownFigure", "read_bar", "read_decimal", "read_entries", "read_table"]

_Entry = TypeVar("_Entry")


class UnknownFigure(Exception):  # noqa: N818 - it is no error of the program: the ledger does not hold a value
    """A number cannot be worked out for a score; the text says which value is unknown or has no figure."""


@dataclass(frozen=True, slots=True)
class Table:
    """One figure for each value of a field; ``*`` is the figure for any other value. A figure may be a table itself."""

    field: str
    figures: Mapping[str, Fraction | Table]

    def figure_for(self, score: Score) -> Fraction:
        """Return the figure for a score. Raises :class:`UnknownFigure` where the ledger or the table holds none."""
        value = score.value_of(self.field)
        if value is None:
            raise UnknownFigure(f"its {spoken(self.field)} is unknown")
        figure = self.figures.get(as_text(value), self.figures.get("*"))
        if figure is None:
            raise UnknownFigure(f'the scheme has no figure for the {spoken(self.field)} "{as_text(value)}"')
        return figure.figure_for(score) if isinstance(figure, Table) else figure

    def words(self) -> str:
        parts = (
            f"{figure.words() if isinstance(figure, Table) else number_text(figure)} "
            + (f"for any other {spoken(self.field)}" if value == "*" else f"for {spoken(self.field)} {value}")
            for value, figure in self.figures.items()
        )
        return ", ".join(parts)

    def all_figures(self) -> Iterator[Fraction]:
        for figure in self.figures.values():
            if isinstance(figure, Table):
                yield from figure.all_figures()
            else:
                yield figure

    def named(self) -> Iterator[tuple[str, str]]:
        """Yield every (field, value) that the table names."""
        for value, figure in self.figures.items():
            yield self.field, value
            if isinstance(figure, Table):
                yield from figure.named()


def read_decimal(reader: Reader, key: str, raw: object) -> Fraction | None:
    """Read one decimal that stands below ``key``; anything else is reported there."""
    try:
        return parse_decimal(raw)
    except ValueError:
        reader.problem(key, f'Here stands {describe(raw)}. Give a plain decimal number such as "2.5".')
        return None


def read_bar(reader: Reader, key: str) -> Fraction | Table | None:
    """Read a decimal, or a table of decimals by one field."""
    raw = reader.raw(key)
    if isinstance(raw, Mapping):
        return read_table(Reader.over(raw, path=reader.at(key), problems=reader.problems))
    return read_decimal(reader, key, raw)


def read_table(reader: Reader) -> Table | None:
    """Read ``{field: {value: decimal or table}}``."""
    fields = [key for key in reader.value if not key.startswith("x-") or isinstance(reader.value[key], Mapping)]
    if len(fields) != 1:
        reader.problem(None, "A table depends on exactly one field. Put a second field into a table inside the first.")
        return None
    field = fields[0]
    if field not in FIELDS and field not in NUMBERS and not field.startswith("x-"):
        reader.problem(field, f'"{field}" is no field of the ledger. Name one of: {", ".join(FIELDS)}.')
    figures: dict[str, Fraction | Table] | None = read_entries(reader, field, read_bar)
    return None if figures is None else Table(field, figures)


def read_entries(reader: Reader, field: str, read: Callable[[Reader, str], _Entry | None]) -> dict[str, _Entry] | None:
    """Read what stands for each value of a field, under the text of that value in the ledger: "70.0" is 70."""
    entries = reader.take_object(field, required=True)
    if entries is None:
        return None
    if not entries.value:
        reader.problem(field, "The table is empty. Give at least one figure.")
    found: dict[str, _Entry] = {}
    for key in entries.value:
        text, entry = _ledger_text(entries, key, field=field), read(entries, key)
        if text in found:
            entries.problem(key, f'"{key}" stands in this table already, written in another way. Keep one of them.')
        elif text is not None and entry is not None:
            found[text] = entry
    return found


def _ledger_text(entries: Reader, key: str, *, field: str) -> str | None:
    """Write the value that a key stands for as ``as_text`` writes it, so that numbers are compared as numbers."""
    plain = key.strip()
    if plain == "*" or (plain and field not in FIELDS and field not in NUMBERS):
        return plain
    try:
        if not plain:
            raise ValueError("Give a value, or * for any other value.")  # noqa: TRY301 - completed below, as the others
        return as_text(_number(plain) if field in NUMBERS else FIELDS[field](plain))
    except ValueError as error:
        entries.problem(key, f'"{key}" is no value of {spoken(field)}. {error}')
        return None


def _number(text: str) -> Fraction:
    try:
        return parse_decimal(text)
    except ValueError:
        raise ValueError('Give a plain decimal number such as "65.5", or * for any other.') from None
