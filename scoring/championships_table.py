"""A table over several classes: values, places and their working, for units and for teams alike."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING, cast

from scoring.exact import Rounding, format_exact, format_units, round_to_units
from scoring.placings import Figure, Placing, natural_order, placings
from scoring.results import Tie
from scoring.rulesets import TieStep

if TYPE_CHECKING:
    from scoring.championships import ChampionshipStep

__all__ = ["Cell", "Contest", "Row", "Table", "listed"]

_PERCENTAGES = frozenset({"part", "seat"})
_ROUNDING = {"half-up": "rounded half up", "half-even": "rounded half to even", "down": "cut"}
_UNITS = {"total": "{} %", "penalty": "{} penalties", "points": "{} points", "placing": "{} for places"}


@dataclass(frozen=True, slots=True)
class Cell:
    """What one class brings to one contender.

    ``status`` None: not entered there. ``text`` is the published figure, ``value`` what counts: with ``own`` false a
    value that stands in for a ride without a figure. ``counts`` is set once it is known which classes count.
    """

    class_id: str
    title: str
    number: str | None = None
    status: str | None = None
    value: Fraction | None = None
    text: str | None = None
    own: bool = False
    counts: bool = False

    @property
    def shown(self) -> str:
        return self.text if self.text is not None else format_exact(self.value or Fraction(0))

    def as_document(self, what: str, *, number: bool = True) -> dict[str, object]:
        """Return the cell as it stands in ``championship-results/1``; ``what`` names its key: class or unit."""
        document: dict[str, object] = {what: self.class_id}
        if number:
            document |= {"number": self.number, "status": self.status}
        shown = None if self.value is None else self.shown
        return document | {"value": shown, "counts": self.counts, "drop_out": shown is not None and not self.own}


@dataclass(frozen=True, slots=True)
class Contest:
    """How the class figures of a contender become its value and its place."""

    titles: tuple[str, ...]
    method: str
    of: str
    counting: int | None
    decimals: int
    rounding: Rounding
    lowest_wins: bool
    ties: tuple[ChampionshipStep, ...] = ()
    tie_places: int | None = None
    names: Mapping[str, str] = field(default_factory=dict)
    counted: str = "classes"

    def units(self, value: Fraction) -> int:
        return round_to_units(value, decimals=self.decimals, rounding=self.rounding)

    def rounded(self, value: Fraction) -> Fraction:
        return Fraction(self.units(value), 10**self.decimals)

    def text(self, units: int) -> str:
        return format_units(units, decimals=self.decimals)

    def with_unit(self, text: str) -> str:
        return _UNITS.get(self.of, "{}").format(text)

    def name(self, contender: str) -> str:
        return self.names.get(contender, contender)


@dataclass(frozen=True, slots=True)
class Row:
    """One contender of a table: placed, or without a place and with the ``reason``."""

    name: str
    placing: int | None
    shared: bool
    value: str | None
    cells: tuple[Cell, ...]
    tie: Tie | None
    reason: str | None
    working: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return the row as it stands in ``championship-results/1``, without its name and its cells."""
        return {
            "placing": self.placing,
            "shared": self.shared,
            "value": self.value,
            "tie": None if self.tie is None else self.tie.as_document(),
            "reason": self.reason,
            "working": list(self.working),
        }


class Table:
    """Places contenders by their cells, one for each class in the order in which the classes are ridden.

    ``figure`` gives the figure of a tie step, below 0 where the lower wins.
    """

    def __init__(
        self,
        contest: Contest,
        cells: Mapping[str, Sequence[Cell]],
        *,
        figure: Callable[[str, ChampionshipStep], Fraction | None] = lambda _name, _step: None,
    ) -> None:
        self.contest, self.figure = contest, figure
        self.cells = {name: self._chosen(found) for name, found in cells.items()}
        self.units = {name: contest.units(self._exact(found)) for name, found in self.cells.items() if _counted(found)}
        self.placings = {row.number: row for row in self._placings()}

    def rows(self) -> tuple[Row, ...]:
        return tuple(map(self._row, sorted(self.cells, key=self._order)))

    def _chosen(self, cells: Sequence[Cell]) -> tuple[Cell, ...]:
        """Mark the cells that count, or none where they do not suffice."""
        positions = self._positions(cells)
        if positions is None or not any(cells[position].own for position in positions):
            return tuple(cells)
        return tuple(
            replace(cell, counts=True) if position in positions else cell for position, cell in enumerate(cells)
        )

    def _positions(self, cells: Sequence[Cell]) -> set[int] | None:
        there = [position for position, cell in enumerate(cells) if cell.value is not None]
        last = len(cells) - 1
        if self.contest.method == "last-class-decides":
            return {last} if last in there else None
        if self.contest.counting is None:
            return set(there) if len(there) == len(cells) else None
        best = sorted(there, key=lambda position: (-self._signed(cells[position].value), position))
        return set(best[: self.contest.counting]) if len(best) >= self.contest.counting else None

    def _signed(self, value: Fraction | None) -> Fraction:
        value = value or Fraction(0)
        return -value if self.contest.lowest_wins else value

    def _exact(self, cells: Sequence[Cell]) -> Fraction:
        values = [cell.value for cell in _counted(cells) if cell.value is not None]
        added = sum(values, Fraction(0))
        return added / len(values) if self.contest.method == "mean" else added

    def _placings(self) -> list[Placing]:
        contest = self.contest
        return placings(
            {name: -units if contest.lowest_wins else units for name, units in self.units.items()},
            steps=contest.ties,
            tie_places=contest.tie_places,
            figure=self._step_figure,
        )

    def _step_figure(self, name: str, step: TieStep) -> Fraction | None:
        if step.by == "worst-counting":
            return min(self._signed(cell.value) for cell in _counted(self.cells[name]))
        return self.figure(name, cast("ChampionshipStep", step))

    def _order(self, name: str) -> tuple[object, ...]:
        """Placed ones by place; then by how far they came: the last class first, the better figure first."""
        placing = self.placings.get(name)
        place = 0 if placing is None else placing.place
        rest = [(cell.value is None, -self._signed(cell.value)) for cell in reversed(self.cells[name])]
        return placing is None, place, [] if placing else rest, natural_order(name)

    def _row(self, name: str) -> Row:
        placing, cells = self.placings.get(name), self.cells[name]
        return Row(
            name=name,
            placing=None if placing is None else placing.place,
            shared=placing is not None and placing.shared,
            value=None if placing is None else self.contest.text(self.units[name]),
            cells=cells,
            tie=None if placing is None or not placing.equals else self._tie(placing),
            reason=None if placing is not None else self._reason(cells),
            working=tuple(self._working(name, cells, placing)),
        )

    def _tie(self, placing: Placing) -> Tie:
        if not placing.separated:
            return Tie(placing.equals, None, None)
        step, figures = placing.separated[-1]
        return Tie(placing.equals, step.by, self._figure_text(step, figures[placing.number]))

    def _figure_text(self, step: TieStep, figure: Figure) -> str:
        value = abs(Fraction(figure))
        if step.by == "mean":
            return self.contest.text(self.contest.units(value))
        units = value * 10**self.contest.decimals
        if step.by in _PERCENTAGES and units.denominator == 1:
            return self.contest.text(int(units))
        return format_exact(value)

    def _reason(self, cells: tuple[Cell, ...]) -> str:
        contest = self.contest
        last_only = contest.method == "last-class-decides"
        lacking = [cell for cell in (cells[-1:] if last_only else cells) if not cell.own]
        told = " ".join(_lacks(cell) for cell in lacking)
        if self._positions(cells) is not None:
            return f"None of the {contest.counted} has a figure of its own. {told}"
        if contest.counting is None or last_only:
            return told
        there = sum(cell.value is not None for cell in cells)
        return f"{contest.counting} {contest.counted} count, but only {there} can. {told}".rstrip()

    def _working(self, name: str, cells: tuple[Cell, ...], placing: Placing | None) -> Iterator[str]:
        for cell in cells:
            yield from self._cell_line(cell)
        if placing is None:
            return
        counted = _counted(cells)
        if self.contest.counting is not None and len(cells) > self.contest.counting:
            titles = listed([cell.title for cell in counted])
            yield f"The best {len(counted)} of {len(cells)} {'counts' if len(counted) == 1 else 'count'}: {titles}."
        yield self._value_line(name, counted)
        if placing.equals:
            yield from self._tie_lines(placing)

    def _cell_line(self, cell: Cell) -> Iterator[str]:
        number = f"number {cell.number}, " if cell.number else ""
        if cell.own and cell.value is not None:
            shown = f"place {cell.shown}" if self.contest.of == "placing" else self.contest.with_unit(cell.shown)
            yield f"{cell.title}: {number}{shown}"
        elif cell.value is not None:
            yield f"{cell.title}: {number}{cell.status}, which counts as {cell.shown}"

    def _value_line(self, name: str, counted: tuple[Cell, ...]) -> str:
        contest, units = self.contest, self.units[name]
        texts = [cell.shown for cell in counted]
        value, exact = contest.with_unit(contest.text(units)), self._exact(counted)
        note = ""
        if exact != Fraction(units, 10**contest.decimals):
            note = f" ({_near(exact, contest.decimals + 3)} {_ROUNDING[contest.rounding.value]})"
        if contest.method == "last-class-decides":
            return f"The last class decides: {texts[0]} = {value}{note}" if note else f"The last class decides: {value}"
        if contest.method == "mean":
            return f"Mean: ({' + '.join(texts)}) / {len(texts)} = {value}{note}"
        return f"Total: {' + '.join(texts)} = {value}{note}"

    def _tie_lines(self, placing: Placing) -> Iterator[str]:
        contest = self.contest
        value = contest.with_unit(contest.text(self.units[placing.number]))
        yield f"Equal with {listed(list(map(contest.name, placing.equals)))} on {value}."
        for step, figures in placing.separated:
            yield self._separation(placing.number, step, figures)
        if placing.shared:
            partners = [other for other in placing.equals if self._same(placing, other)]
            used = contest.ties and (contest.tie_places is None or placing.place <= contest.tie_places)
            why = "No step of the rule parts them" if used else "The rule parts no tie for this place"
            together = listed(list(map(contest.name, partners)))
            yield f"{why}: place {placing.place} is shared with {together}."

    @staticmethod
    def _same(placing: Placing, other: str) -> bool:
        return all(figures.get(other) == figures[placing.number] for _, figures in placing.separated)

    def _separation(self, name: str, step: TieStep, figures: Mapping[str, Figure]) -> str:
        own = self._figure_text(step, figures[name])
        against = [f"{self._figure_text(step, f)} of {self.contest.name(n)}" for n, f in figures.items() if n != name]
        wins = "lower" if min(figures.values()) < 0 else "higher"
        label = self._label(cast("ChampionshipStep", step))
        return f"{label}: {own}, against {listed(against)}; the {wins} is placed first."

    def _label(self, step: ChampionshipStep) -> str:
        titles = listed([self.contest.titles[position] for position in step.positions])
        return {
            "total": f"Total of {titles}",
            "value": f"Value in {titles}",
            "placing": f"Place in {titles}",
            "collectives": f"Collective marks of {titles}",
            "part": f"Part {step.argument} of {titles}",
            "seat": f"Percentage of seat {step.argument} in {titles}",
            "mean": f"Mean total of {titles}",
            "worst-counting": "Worst value that counts",
        }.get(step.by, "Best class")


def _counted(cells: Sequence[Cell]) -> tuple[Cell, ...]:
    return tuple(cell for cell in cells if cell.counts)


def _lacks(cell: Cell) -> str:
    if cell.status is None:
        return f"{cell.title}: not in this class."
    if cell.status == "running":
        return f"{cell.title}: still riding."
    if cell.status == "completed":
        return f"{cell.title}: listed without a place."
    if cell.status == "incomplete":
        return f"{cell.title}: too few counting scores."
    return f"{cell.title}: {cell.status}."


def _near(value: Fraction, decimals: int) -> str:
    units, rest = divmod(value.numerator * 10**decimals, value.denominator)
    text = format_units(units, decimals=decimals)
    return f"{text}..." if rest else text.rstrip("0").rstrip(".")


def listed(texts: list[str]) -> str:
    """Write names as they stand in a sentence."""
    if len(texts) < 2:
        return "".join(texts)
    return f"{', '.join(texts[:-1])} and {texts[-1]}"
