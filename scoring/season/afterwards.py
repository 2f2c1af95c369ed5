"""What happens to the ranking once everybody has a value: stage ``after`` of a scheme."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from scoring.documents import Reader, describe
from scoring.season.conditions import known_field
from scoring.season.ledger import as_text, spoken
from scoring.season.rows import GroupKey, Row

__all__ = ["After", "Exclude", "KeepHighest", "MinimumUnits", "OnePer", "Places", "read_after"]

Out = dict[tuple[GroupKey, str], str]
"""The rows that are out of the ranking, each with the sentence that says why."""


@dataclass(frozen=True, slots=True)
class KeepHighest:
    """One title at the highest level, or ``number`` at consecutive ones; ``order`` goes from the lowest level up.

    ``gaps`` are neighbours in the order that do not count as consecutive. With ``winners_only`` a unit leaves a level
    only where it would win there, and the runner-up moves up.
    """

    of: str
    order: tuple[str, ...]
    number: int = 1
    gaps: tuple[tuple[str, str], ...] = ()
    winners_only: bool = False

    def apply(self, rows: Sequence[Row], out: Out) -> None:
        self._leave_won(rows, out) if self.winners_only else self._leave_lower(rows, out)

    def _level(self, row: Row) -> int | None:
        value = dict(row.group).get(self.of)
        text = None if value is None else as_text(value)
        return self.order.index(text) if text in self.order else None

    def _leave_lower(self, rows: Sequence[Row], out: Out) -> None:
        levels: dict[str, set[int]] = defaultdict(set)
        for row in rows:
            level = self._level(row)
            if level is not None:
                levels[row.unit].add(level)
        for row in rows:
            level, kept = self._level(row), self._kept(levels[row.unit])
            if level is not None and level not in kept:
                out[row.group, row.unit] = f"Ranked at {self._names(kept)} only. {self.words()}"

    def _kept(self, levels: set[int]) -> list[int]:
        kept: list[int] = []
        for level in sorted(levels, reverse=True):
            consecutive = not kept or (kept[-1] - level == 1 and not self._gap(level, kept[-1]))
            if len(kept) == self.number or not consecutive:
                break
            kept.append(level)
        return kept

    def _gap(self, lower: int, higher: int) -> bool:
        pair = {self.order[lower], self.order[higher]}
        return any(set(gap) == pair for gap in self.gaps)

    def _names(self, levels: Iterable[int]) -> str:
        return " and ".join(self.order[level] for level in levels)

    def _leave_won(self, rows: Sequence[Row], out: Out) -> None:
        titles: dict[str, list[int]] = defaultdict(list)
        for level in reversed(range(len(self.order))):
            for group in by_group([row for row in rows if self._level(row) == level]).values():
                self._give_title(group, titles, out, level=level)

    def _give_title(self, group: list[Row], titles: dict[str, list[int]], out: Out, *, level: int) -> None:
        for leaders in ranked(group):
            open_to = [row for row in leaders if len(titles[row.unit]) < self.number]
            for row in leaders:
                if row not in open_to:
                    names = self._names(titles[row.unit])
                    out[row.group, row.unit] = f"Takes the title at {names} only. {self.words()}"
            for row in open_to:
                titles[row.unit].append(level)
            if open_to:
                return

    def words(self) -> str:
        what = "winner" if self.winners_only else "unit"
        if self.number == 1:
            return f"A {what} at several {spoken(self.of)}s keeps the highest one only."
        return f"A {what} at several {spoken(self.of)}s keeps the highest {self.number} consecutive ones only."


@dataclass(frozen=True, slots=True)
class OnePer:
    """Only the best unit of each value of a field in a table: a rider's best horse."""

    field: str

    def apply(self, rows: Sequence[Row], out: Out) -> None:
        for group in by_group(rows).values():
            seen: dict[object, str] = {}
            for row in (row for leaders in ranked(group) for row in leaders):
                value = dict(row.about).get(self.field)
                if value is None:
                    continue
                best = seen.setdefault(value, row.unit)
                if best != row.unit:
                    out[row.group, row.unit] = (
                        f"{best} of the same {spoken(self.field)} is ranked higher. {self.words()}"
                    )

    def words(self) -> str:
        return f"Only the best of each {spoken(self.field)} is ranked."


@dataclass(frozen=True, slots=True)
class Places:
    number: int

    def apply(self, rows: Sequence[Row], out: Out) -> None:
        for group in by_group(rows).values():
            place = 1
            for leaders in ranked(group):
                if place > self.number:
                    out.update(((row.group, row.unit), self.words()) for row in leaders)
                place += len(leaders)

    def words(self) -> str:
        return f"Only the first {self.number} places are given."


@dataclass(frozen=True, slots=True)
class MinimumUnits:
    number: int

    def apply(self, rows: Sequence[Row], out: Out) -> None:
        for group in by_group(rows).values():
            if len(group) < self.number:
                out.update(((row.group, row.unit), self.words()) for row in group)

    def words(self) -> str:
        return f"A table with fewer than {self.number} qualified units gives no places."


@dataclass(frozen=True, slots=True)
class Exclude:
    units: tuple[str, ...]

    def apply(self, rows: Sequence[Row], out: Out) -> None:
        out.update(((row.group, row.unit), self.words()) for row in rows if row.unit in self.units)

    def words(self) -> str:
        return f"Shut out of the ranking: {', '.join(self.units)}."


After = KeepHighest | OnePer | Places | MinimumUnits | Exclude


def rows_out(steps: tuple[After, ...], rows: Sequence[Row]) -> Out:
    """Apply the steps in their order to the qualified rows; return those that leave the ranking, and why."""
    out: Out = {}
    for step in steps:
        step.apply([row for row in rows if row.qualified and (row.group, row.unit) not in out], out)
    return out


def by_group(rows: Iterable[Row]) -> dict[GroupKey, list[Row]]:
    groups: dict[GroupKey, list[Row]] = defaultdict(list)
    for row in rows:
        groups[row.group].append(row)
    return groups


def ranked(rows: Iterable[Row]) -> list[list[Row]]:
    """Return the rows by rank, the best first; those that share a place stand together, by unit."""
    ordered = sorted(sorted(rows, key=Row.unit_key), key=Row.rank_key, reverse=True)
    shared: list[list[Row]] = []
    for row in ordered:
        if shared and shared[-1][0].rank_key() == row.rank_key():
            shared[-1].append(row)
        else:
            shared.append([row])
    return shared


def read_after(reader: Reader, *, group_by: tuple[str, ...]) -> tuple[After, ...]:
    """Read ``after``, a list of steps."""
    steps = []
    for part in reader.objects("after"):
        names = [name for name in _READERS if name in part.value]
        if len(names) != 1:
            part.problem(None, f"Here stand {len(names)} steps, but one is needed. Give one of: {', '.join(_READERS)}.")
            continue
        step = _READERS[names[0]](part)
        part.finish(known=names)
        if isinstance(step, KeepHighest) and step.of not in group_by:
            part.problem("of", f'The tables are not divided by "{step.of}". Add it to group_by.')
        if step is not None:
            steps.append(step)
    return tuple(steps)


def _read_keep(part: Reader) -> After | None:
    part.take_choice("keep", ("highest",), required=True)
    of = part.take_text("of", required=True)
    order = _read_texts(part, "order")
    number = part.take_int("number", default=1, least=1)
    gaps = []
    for index, raw in enumerate(part.take_list("not_consecutive")):
        if isinstance(raw, list) and len(raw) == 2 and all(value in order for value in raw):
            gaps.append((str(raw[0]), str(raw[1])))
        else:
            part.problem(f"not_consecutive[{index}]", f"Here stands {describe(raw)}. Give two neighbours of the order.")
    return KeepHighest(of, order, number or 1, tuple(gaps), part.take_bool("winners_only"))


def _read_texts(part: Reader, key: str) -> tuple[str, ...]:
    values = part.take_list(key, required=True)
    if not all(isinstance(value, str) and value for value in values) or len(set(map(str, values))) != len(values):
        part.problem(key, f'"{key}" needs texts, each of them once.')
        return ()
    if not values and isinstance(part.raw(key), list):
        part.problem(key, f'"{key}" is empty. Give at least one text.')
    return tuple(str(value) for value in values)


def _read_one_per(part: Reader) -> After | None:
    field = part.take_text("one_per", required=True)
    if not known_field(field):
        part.problem("one_per", f'"{field}" is no field of the ledger. Name one, such as rider.')
    return OnePer(field)


def _read_places(part: Reader) -> After | None:
    number = part.take_int("places", required=True, least=1)
    return None if number is None else Places(number)


def _read_minimum(part: Reader) -> After | None:
    number = part.take_int("minimum_units", required=True, least=1)
    return None if number is None else MinimumUnits(number)


_READERS: Mapping[str, Callable[[Reader], After | None]] = {
    "keep": _read_keep,
    "one_per": _read_one_per,
    "places": _read_places,
    "minimum_units": _read_minimum,
    "exclude": lambda part: Exclude(_read_texts(part, "exclude")),
}
