"""The ledger of a season as columns: each field as codes into the list of its different values.

The database hands over each field of many scores as one text; a value is read once, by the reader of ``scores/1``,
however many scores have it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import Max, Min
from numpy.typing import NDArray

from riders.models import Pair, Season
from riders.models import Score as ScoreRow
from riders.selectors.ledger import days_read, membership_periods
from riders.services.columns.numbering import different
from riders.services.columns.scope import NotColumnar, fields_of
from scoring.season import Scheme, Score
from scoring.season.ledger import FIELDS, FieldValue

Codes = NDArray[np.int32]
Numbers = NDArray[np.int64]

_Days = tuple[date, date]
_Chunk = tuple[Numbers, Numbers, list[Any]]
# Numbers of the rows and of their pairs, and for each field one text of all scores, or the list of its texts.
_BETWEEN = "\x1f"
_SCORES_AT_ONCE = 100_000
_PAIRS_AT_ONCE = 500
_FLAGS = {"highest_of_level", "hors_concours", "recognised", "member"}
_NULLABLE = _FLAGS | {"placing", "starters", "horse_age"}
_OF_THE_PAIR = {"pair": "key", "rider": "rider__listed", "horse": "horse__listed"}
_COLUMNS = {name: name for name in FIELDS if name not in _OF_THE_PAIR} | {"score_id": "key", "class": "class_name"}


@dataclass(frozen=True, slots=True)
class Column:
    """One field: ``values[codes[n]]`` is the value of score n, None where it is unknown."""

    codes: Codes
    values: Sequence[Any]

    def known(self) -> NDArray[np.bool_]:
        return np.array([value is not None for value in self.values], dtype=np.bool_)[self.codes]

    def as_mask(self) -> NDArray[np.bool_]:
        return np.array(self.values, dtype=np.bool_)[self.codes]


@dataclass(frozen=True, slots=True)
class Columns:
    """Scores of a ledger; ``numbers`` and ``pairs`` are those of their rows here."""

    numbers: Numbers
    pairs: Numbers
    fields: Mapping[str, Column] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.numbers)

    def column(self, name: str) -> Column:
        """Return a field; one that the ledger here does not have is unknown everywhere."""
        if name == "judge_count":
            judges = self.column("judges")
            return Column(judges.codes, [None if value is None else len(value) for value in judges.values])
        found = self.fields.get(name)
        return Column(np.zeros(len(self), np.int32), [None]) if found is None else found

    def derived(self, names: Iterable[str], work_out: Callable[[Score], Any]) -> Column:
        """Return what ``work_out`` says of each score, asked once for each different combination of these fields."""
        looked_at = {"judges" if name == "judge_count" else name for name in names}
        columns = {name: self.column(name) for name in sorted(looked_at)}
        if not columns:
            return Column(np.zeros(len(self), np.int32), [work_out(Score(""))])
        codes, combinations = _combined(list(columns.values()))
        values = [
            work_out(
                _score({name: column.values[code] for (name, column), code in zip(columns.items(), one, strict=True)})
            )
            for one in combinations
        ]
        return Column(codes, values)


def _score(values: Mapping[str, FieldValue]) -> Score:
    known = {"class_id" if name == "class" else name: value for name, value in values.items() if value is not None}
    own = tuple((name, str(known.pop(name))) for name in list(known) if name.startswith("x-"))
    return Score(**{"score_id": "", **known}, extra=own)  # type: ignore[arg-type]


def _combined(columns: Sequence[Column]) -> tuple[Codes, list[tuple[int, ...]]]:
    """Return codes into the different combinations of several columns' codes, and these combinations."""
    if len(columns) == 1:
        return columns[0].codes, [(code,) for code in range(len(columns[0].values))]
    sizes = [len(column.values) for column in columns]
    total = 1
    for size in sizes:
        total *= size
    if total >= 2**62:
        raise NotColumnar
    key = np.zeros(len(columns[0].codes), np.int64)
    for column, size in zip(columns, sizes, strict=True):
        key = key * size + column.codes
    found, codes = different(key)
    combinations = []
    for one in found.tolist():
        rest, parts = one, []
        for size in reversed(sizes):
            rest, part = divmod(rest, size)
            parts.append(part)
        combinations.append(tuple(reversed(parts)))
    return codes.astype(np.int32), combinations


class _Codes(dict[str, int]):
    """Gives each text the next number when it is first asked for."""

    def __missing__(self, text: str) -> int:
        self[text] = number = len(self)
        return number


def read_columns(
    season: Season,
    scheme: Scheme,
    *,
    pairs: Collection[int] | None = None,
    progress: Callable[[float], None] = lambda _share: None,
) -> Columns:
    """Read what a scheme looks at of a season's scores in force, or of those of some pairs only.

    Raises ``NotColumnar`` where a value cannot be read, so that the exact path says which.
    """
    wanted = fields_of(scheme)
    if "judge_count" in wanted:
        wanted |= {"judges"}
    names = sorted(name for name in wanted if name in _COLUMNS)
    coders = {name: _Codes() for name in names}
    numbers, owners, codes = [], [], {name: list[Codes]() for name in names}
    days = days_read(season, scheme)
    for ids, pair_ids, texts in _chunks(days, names, pairs=pairs, progress=progress):
        numbers.append(ids)
        owners.append(pair_ids)
        for name, text in zip(names, texts, strict=True):
            cells = text.split(_BETWEEN) if isinstance(text, str) else text
            codes[name].append(np.fromiter(map(coders[name].__getitem__, cells), np.int32, len(cells)))
    columns = Columns(_joined(numbers, np.int64), _joined(owners, np.int64))
    found = {name: _read(name, _joined(codes[name], np.int32), list(coders[name])) for name in names}
    whose = _Owners(columns.pairs, wanted)
    found |= {name: whose.column(name) for name in _OF_THE_PAIR if name in wanted}
    if "member" in wanted and (periods := membership_periods(season)) is not None:
        found["member"] = _members(whose, found["date"], periods)
    return Columns(columns.numbers, columns.pairs, found)


def _joined(parts: Sequence[NDArray[Any]], kind: type[Any]) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.zeros(0, kind)


def _read(name: str, codes: Codes, texts: Sequence[str]) -> Column:
    """Read the different texts of a field, and give the same code to what says the same (70 and 70.000)."""
    codes_of: dict[FieldValue, int] = {}
    try:
        values = [_value(name, text) for text in texts]
    except ValueError as problem:
        raise NotColumnar from problem
    same = np.array([codes_of.setdefault(value, len(codes_of)) for value in values], np.int32)
    return Column(same[codes] if len(same) else codes, list(codes_of))


@lru_cache(maxsize=2**16)
def _value(name: str, text: str) -> FieldValue:
    if not text.strip():
        return None
    if name in _FLAGS:
        return text in {"1", "true"}
    value = FIELDS[name](json.loads(text) if name == "judges" else text)
    return None if value in ((), "") else value


def _chunks(
    days: _Days, names: Sequence[str], *, pairs: Collection[int] | None, progress: Callable[[float], None]
) -> Iterator[_Chunk]:
    """Yield the row numbers, the pairs and the texts of the fields ``names`` of many scores at a time."""
    if pairs is not None:
        some = sorted(pairs)
        for start in range(0, len(some), _PAIRS_AT_ONCE):
            part = some[start : start + _PAIRS_AT_ONCE]
            chunk = _fetch(days, names, f'"pair_id" IN ({", ".join(["%s"] * len(part))})', part)
            if chunk is not None:
                yield chunk
        return
    bounds = ScoreRow.objects.order_by().aggregate(first=Min("pk"), last=Max("pk"))
    if bounds["first"] is None:
        return
    first, last = bounds["first"], bounds["last"]
    starts = range(first, last + 1, _SCORES_AT_ONCE)

    def fetch(start: int) -> _Chunk | None:
        return _fetch(days, names, '"id" >= %s AND "id" < %s', [start, start + _SCORES_AT_ONCE])

    for start, chunk in zip(starts, _one_ahead(fetch, starts), strict=True):
        if chunk is not None:
            yield chunk
        progress(min((start + _SCORES_AT_ONCE - first) / (last + 1 - first), 1.0))


def _one_ahead(fetch: Callable[[int], _Chunk | None], starts: Sequence[int]) -> Iterator[_Chunk | None]:
    """Fetch what comes next on a thread and connection of its own while what came before is worked on.

    Inside a transaction, whose writes another connection does not see, one after the other.
    """
    if connection.in_atomic_block:
        yield from map(fetch, starts)
        return
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="ledger") as ahead:
        try:
            coming = ahead.submit(fetch, starts[0])
            for start in starts[1:]:
                come, coming = coming, ahead.submit(fetch, start)
                yield come.result()
            yield coming.result()
        finally:
            ahead.submit(_close_own).result()


def _close_own() -> None:
    """Close the connection of the thread that this runs on."""
    connection.close()


def _fetch(days: _Days, names: Sequence[str], where: str, values: Sequence[int]) -> _Chunk | None:
    """Fetch scores from the database, each field of all of them as one text; None where there are none."""
    on_postgresql = connection.vendor == "postgresql"
    cells = ['"id"', '"pair_id"', *(_cell(name) for name in names)]
    if on_postgresql:
        cells = [f"CAST({cell} AS text)" for cell in cells]
    joined = "string_agg" if on_postgresql else "group_concat"
    # SQLite would take the index of days for any part of the ledger; a plus sign keeps it to the rows asked for.
    plus = "" if on_postgresql else "+"
    source = f'FROM riders_score WHERE {plus}"retracted_at" IS NULL AND {plus}"date" BETWEEN %s AND %s AND {where}'
    given: list[Any] = [*days, *values]
    with connection.cursor() as cursor:
        # Written out, not handed over: SQLite joins texts twice as fast by a separator that it knows beforehand.
        wholes = ", ".join(f"{joined}({cell}, '{_BETWEEN}')" for cell in cells)
        cursor.execute(f"SELECT count(*), {wholes} {source}", given)
        count, *whole = cursor.fetchone()
        if not count:
            return None
        if all(text.count(_BETWEEN) == count - 1 for text in whole):
            ids, pairs = (np.fromstring(text, np.int64, sep=_BETWEEN) for text in whole[:2])
            return ids, pairs, whole[2:]
        # Some text holds the very sign that is put between them.
        cursor.execute(f"SELECT {', '.join(cells)} {source}", given)
        rows = list(zip(*cursor.fetchall(), strict=True))
        ids, pairs = (np.array([int(number) for number in row], np.int64) for row in rows[:2])
        return ids, pairs, [list(map(str, row)) for row in rows[2:]]


def _cell(name: str) -> str:
    """Return how a field is asked for: one that may be null as an empty text where it is."""
    column = f'"{_COLUMNS[name]}"'
    return f"COALESCE(CAST({column} AS text), '')" if name in _NULLABLE else column


class _Owners:
    """The pairs of the scores, each looked up once."""

    def __init__(self, pairs: Numbers, wanted: Collection[str]) -> None:
        self._pairs, codes = different(pairs)
        self.codes: Codes = codes.astype(np.int32)
        names = [lookup for name, lookup in _OF_THE_PAIR.items() if name in wanted]
        self._rows = self._look_up([*names, *(["rider_id"] if "member" in wanted else [])])

    def column(self, name: str) -> Column:
        texts = self._values(_OF_THE_PAIR[name])
        if name == "pair" and all(text and text == text.strip() for text in texts):
            return Column(self.codes, texts)  # keys differ from each other as they stand
        return _read(name, self.codes, texts)

    def riders(self) -> list[int]:
        return self._values("rider_id")

    def _values(self, lookup: str) -> list[Any]:
        return [row[lookup] for row in self._rows]

    def _look_up(self, lookups: Sequence[str]) -> list[dict[str, Any]]:
        wanted = self._pairs.tolist()
        if not lookups:
            return []
        rows: dict[int, dict[str, Any]] = {}
        if len(wanted) > 20 * _PAIRS_AT_ONCE:
            rows = {row["pk"]: row for row in Pair.objects.order_by().values("pk", *lookups).iterator(2000)}
        else:
            for start in range(0, len(wanted), _PAIRS_AT_ONCE):
                part = Pair.objects.order_by().filter(pk__in=wanted[start : start + _PAIRS_AT_ONCE])
                rows |= {row["pk"]: row for row in part.values("pk", *lookups)}
        return [rows[pair] for pair in wanted]


def _members(whose: _Owners, days: Column, periods: Mapping[int, Sequence[tuple[date, date | None]]]) -> Column:
    """Tell of each score whether a membership of its rider covers the day."""
    own = [periods.get(rider, ()) for rider in whose.riders()]
    ordinals = np.array([day.toordinal() for day in days.values], np.int64)[days.codes]
    covered = np.zeros(len(ordinals), np.bool_)
    for turn in range(max(map(len, own), default=0)):
        spans = [one[turn] if turn < len(one) else None for one in own]
        first = np.array([_NEVER if span is None else span[0].toordinal() for span in spans], np.int64)
        last = np.array([0 if span is None else (span[1] or date.max).toordinal() for span in spans], np.int64)
        covered |= (first[whose.codes] <= ordinals) & (ordinals <= last[whose.codes])
    return Column(covered.astype(np.int32), [False, True])


_NEVER = date.max.toordinal() + 1
