"""The ledger of official scores: posting, correcting and retracting, each with a history row and never twice."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from operator import attrgetter
from typing import Any

from django.db import connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Field, Max
from django.utils import timezone

from riders.models import Pair, Score, ScoreChange, User
from riders.services.standings import rebuild_touched


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreRow:
    """One row for the ledger, named as in ``scores/1``; ``key`` names its origin. Empty text or None is unknown."""

    key: str
    source: Score.Source
    pair: Pair
    date: date
    competition: str
    status: str
    class_name: str = ""
    division: str = ""
    level: str = ""
    test: str = ""
    highest_of_level: bool | None = None
    kind: str = ""
    judges: Sequence[str] = field(default_factory=list)
    percentage: str = ""
    collectives: str = ""
    placing: int | None = None
    starters: int | None = None
    hors_concours: bool | None = None
    recognised: bool | None = None
    member: bool | None = None
    region: str = ""
    team: str = ""
    venue: str = ""
    owner: str = ""
    horse_age: int | None = None


@dataclass(frozen=True, slots=True)
class Posted:
    """How many scores a posting wrote, changed and left as they were."""

    posted: int
    corrected: int
    unchanged: int


COMPARED = [name for name in ScoreRow.__dataclass_fields__ if name not in {"key", "pair"}]


def post_scores(rows: Iterable[ScoreRow], *, by: User | None, reason: str = "", rebuild: bool = True) -> Posted:
    """Write rows into the ledger, inside the caller's transaction.

    A key that is not there is posted; one that is there with other values, or retracted, is corrected; the same again
    changes nothing. With ``rebuild`` the standings of the touched seasons are worked out anew.
    """
    wanted = {row.key: row for row in rows}
    known = {score.key: score for score in _locked_by_keys(wanted)}
    now = timezone.now()
    fresh = [row for key, row in wanted.items() if key not in known]
    _insert(fresh, now=now, by=by, reason=reason)
    changes = []
    corrected = [score for key, score in known.items() if differs(score, wanted[key])]
    dates = {score.date for score in fresh} | {score.date for score in corrected}
    pairs = {row.pair.pk for row in fresh} | {score.pair_id for score in corrected}
    for score in corrected:
        before = record_of(score)
        _apply(score, wanted[score.key], now)
        dates.add(score.date)
        pairs.add(score.pair_id)
        changes.append(
            ScoreChange(score=score, action=ScoreChange.Action.CORRECTED, by=by, reason=reason, before=before)
        )
    ScoreChange.objects.bulk_create(changes, batch_size=2000)
    if rebuild and dates:
        rebuild_touched(dates, pairs)
    return Posted(len(fresh), len(corrected), len(known) - len(corrected))


def retract_scores(keys: Collection[str], *, by: User | None, reason: str, rebuild: bool = True) -> int:
    """Take scores out of force, inside the caller's transaction; the rows and their history stay readable."""
    now = timezone.now()
    scores = [score for score in _locked_by_keys(keys) if score.retracted_at is None]
    ScoreChange.objects.bulk_create(
        ScoreChange(score=score, action=ScoreChange.Action.RETRACTED, by=by, reason=reason, before=record_of(score))
        for score in scores
    )
    Score.objects.filter(pk__in=[score.pk for score in scores]).update(retracted_at=now)
    if rebuild and scores:
        rebuild_touched({score.date for score in scores}, {score.pair_id for score in scores})
    return len(scores)


def record_of(score: Score) -> dict[str, object]:
    """Return what a history row keeps of a score."""
    kept: dict[str, object] = {name: getattr(score, name) for name in COMPARED}
    kept["date"] = score.date.isoformat()
    kept["pair"] = score.pair_id
    kept["retracted"] = score.retracted_at is not None
    return kept


def _locked_by_keys(keys: Iterable[str]) -> list[Score]:
    wanted = list(keys)
    found: list[Score] = []
    for start in range(0, len(wanted), 500):
        found += Score.objects.select_for_update().filter(key__in=wanted[start : start + 500])
    return found


_NOTE_POSTED = (
    'INSERT INTO riders_scorechange ("score_id", "action", "at", "by_id", "reason", "before") '
    'SELECT "id", %s, %s, %s, %s, NULL FROM riders_score WHERE "id" > %s AND "posted_at" = %s ORDER BY "id"'
)


def _insert(rows: Sequence[ScoreRow], *, now: datetime, by: User | None, reason: str) -> None:
    """Write new scores and that they were posted: prepared values and two statements, since others wait meanwhile.

    Making model instances of a hundred thousand rows and having them written costs several times as much.
    """
    if not rows:
        return
    own = connections[connection.alias]  # not through the proxy, which every prepared value would pay for
    fields = [field for field in Score._meta.concrete_fields if not field.primary_key]  # noqa: SLF001
    before = Score.objects.aggregate(most=Max("pk"))["most"] or 0
    moment = ScoreChange._meta.get_field("at").get_db_prep_save(now, own)  # noqa: SLF001
    takers = [_taker(field, own, moment) for field in fields]
    columns = ", ".join(own.ops.quote_name(field.column or field.name) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    with own.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO riders_score ({columns}) VALUES ({places})",  # noqa: S608 - names of our own columns
            [[take(row) for take in takers] for row in rows],
        )
        action = ScoreChange.Action.POSTED.value
        cursor.execute(_NOTE_POSTED, [action, moment, by.pk if by else None, reason, before, moment])


def _taker(field: Field[Any, Any], own: BaseDatabaseWrapper, moment: object) -> Callable[[ScoreRow], Any]:
    """Return what takes a field's value out of a row as the database takes it: texts, numbers and flags as they are."""
    if field.name in {"posted_at", "retracted_at"}:
        return lambda _row: moment if field.name == "posted_at" else None
    if field.name == "pair":
        return lambda row: row.pair.pk
    if field.name == "judges":
        return lambda row: field.get_db_prep_save(list(row.judges), own)
    if field.name == "date":
        return lambda row: field.get_db_prep_save(row.date, own)
    return attrgetter(field.name)


def differs(score: Score, row: ScoreRow) -> bool:
    """Tell whether posting the row would change the score: another value or pair, or it is not in force."""
    if score.retracted_at is not None or score.pair_id != row.pair.pk:
        return True
    return any(getattr(score, name) != getattr(row, name) for name in COMPARED if name != "judges") or (
        score.judges != list(row.judges)
    )


def _apply(score: Score, row: ScoreRow, now: object) -> None:
    for name in COMPARED:
        setattr(score, name, getattr(row, name))
    score.judges = list(row.judges)
    score.pair = row.pair
    score.posted_at = now  # type: ignore[assignment]
    score.retracted_at = None
    score.save()
