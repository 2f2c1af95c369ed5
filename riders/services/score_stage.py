"""The stage of the ledger: rows made ready in a temporary table, from which two statements post or correct them all.

A temporary table belongs to its connection, and on SQLite lies outside the file that writers take turns at, so filling
it keeps nobody waiting. What is then left to do while others wait runs without Python: a quarter of the time of writing
row by row, and none of the pauses that every row makes while other threads compute.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from itertools import chain
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from django.db import DatabaseError, connection, connections
from django.db.models import Field

from riders.models import Pair, Score, ScoreChange, User

if TYPE_CHECKING:
    from riders.services.ledger import ScoreRow

_FILLED_AT_ONCE = 400
_STAGE = "markbook_score_stage"
_FIELDS: list[Field[Any, Any]] = [
    field
    for field in Score._meta.concrete_fields  # noqa: SLF001 - Django's documented metadata
    if field.name not in {"id", "pair", "posted_at", "retracted_at"}
]
_PAIR_KEY = Pair._meta.get_field("key")  # noqa: SLF001
_BEFORE = ScoreChange._meta.get_field("before")  # noqa: SLF001
_COLUMNS = ", ".join(f'"{field.column}"' for field in _FIELDS)
_TAKEN_OVER = ", ".join(
    f'"{column}" = excluded."{column}"'
    for column in (*(field.column for field in _FIELDS if field.name != "key"), "pair_id", "posted_at", "retracted_at")
)
_POST = (
    f"INSERT INTO riders_score ({_COLUMNS}, pair_id, posted_at, retracted_at) "  # noqa: S608 - names of our own columns
    f"SELECT {_COLUMNS}, (SELECT id FROM riders_pair WHERE riders_pair.key = pair_key), %s, NULL "
    f'FROM {_STAGE} WHERE true ORDER BY "number" ON CONFLICT ("key") DO UPDATE SET {_TAKEN_OVER}'
)
_NOTE = (
    'INSERT INTO riders_scorechange (score_id, "action", "at", by_id, reason, "before") '  # noqa: S608
    'SELECT riders_score.id, CASE WHEN staged."before" IS NULL THEN %s ELSE %s END, %s, %s, %s, staged."before" '
    f'FROM {_STAGE} AS staged JOIN riders_score ON riders_score."key" = staged."key" ORDER BY staged."number"'
)


@contextmanager
def filled_stage(rows: Sequence[ScoreRow], before: Mapping[str, object]) -> Iterator[None]:
    """Hold rows ready for :func:`post_stage`; ``before`` has what stands of those that are in the ledger, by key.

    The pair of a row may still have to be written, but must have its key.
    """
    if not rows:
        yield
        return
    _clear()
    try:
        _fill(rows, before)
        yield
    finally:
        with suppress(DatabaseError):  # a transaction that failed takes the table with it
            _clear()


def post_stage(*, at: datetime, by: User | None, reason: str) -> None:
    """Post the rows that are staged, or correct those that are there, and note it, inside the caller's transaction."""
    moment = ScoreChange._meta.get_field("at").get_db_prep_save(at, connections[connection.alias])  # noqa: SLF001
    posted, corrected = ScoreChange.Action.POSTED.value, ScoreChange.Action.CORRECTED.value
    with connection.cursor() as cursor:
        cursor.execute(_POST, [moment])
        cursor.execute(_NOTE, [posted, corrected, moment, by.pk if by else None, reason])


def _fill(rows: Sequence[ScoreRow], before: Mapping[str, object]) -> None:
    own = connections[connection.alias]  # not through the proxy, which every prepared value would pay for
    types = [f'"{field.column}" {field.db_type(own)}' for field in (*_FIELDS, _BEFORE)]
    takers = [_taker(field, own) for field in _FIELDS]
    values = [
        [
            number,
            row.pair.key,
            _BEFORE.get_db_prep_save(before.get(row.key), own),
            *(take(row) for take in takers),
        ]
        for number, row in enumerate(rows)
    ]
    place = f"({', '.join(['%s'] * len(values[0]))})"
    with own.cursor() as cursor:
        cursor.execute(
            f'CREATE TEMPORARY TABLE {_STAGE} ("number" integer PRIMARY KEY, '
            f"pair_key {_PAIR_KEY.db_type(own)}, {', '.join(types)})"
        )
        for start in range(0, len(values), _FILLED_AT_ONCE):
            part = values[start : start + _FILLED_AT_ONCE]
            cursor.execute(
                f'INSERT INTO {_STAGE} ("number", pair_key, "before", {_COLUMNS}) '  # noqa: S608
                f"VALUES {', '.join([place] * len(part))}",
                list(chain.from_iterable(part)),
            )


def _clear() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {_STAGE}")


def _taker(field: Field[Any, Any], own: Any) -> Callable[[ScoreRow], Any]:
    """Return what takes a field's value out of a row as the database takes it: texts, numbers and flags as they are."""
    if field.name == "judges":
        return lambda row: field.get_db_prep_save(list(row.judges), own)
    if field.name == "date":
        return lambda row: field.get_db_prep_save(row.date, own)
    return attrgetter(field.name)
