"""The ledger of official scores: posting, correcting and retracting, each with a history row and never twice."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date

from django.utils import timezone

from riders.models import Pair, Score, ScoreChange, User
from riders.services.score_stage import filled_stage, post_stage
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


@dataclass(frozen=True, slots=True)
class Posting:
    """Rows that stand ready to be written, beside the scores that they correct, by key, as these stand."""

    rows: Sequence[ScoreRow]
    known: Mapping[str, Score]

    @property
    def dates(self) -> set[date]:
        """Return the days of rides whose seasons are touched: those before as well as those after."""
        return {row.date for row in self.rows} | {score.date for score in self.known.values()}

    @property
    def pairs(self) -> set[int]:
        return {row.pair.pk for row in self.rows} | {score.pair_id for score in self.known.values()}

    def write(self, *, by: User | None, reason: str) -> None:
        """Put the rows into the ledger, each with its history row, inside the caller's transaction."""
        if self.rows:
            post_stage(at=timezone.now(), by=by, reason=reason)


@contextmanager
def ready_to_post(rows: Sequence[ScoreRow], known: Mapping[str, Score]) -> Iterator[Posting]:
    """Put rows that differ from the ledger where two statements can post them: the long part, before others wait.

    ``known`` has the score of each key that is in the ledger already. Pairs that are not written yet have their keys.
    """
    corrected = {row.key: known[row.key] for row in rows if row.key in known}
    befores = {key: record_of(score) for key, score in corrected.items()}
    with filled_stage(rows, befores):
        yield Posting(rows, corrected)


def post_scores(rows: Iterable[ScoreRow], *, by: User | None, reason: str = "", rebuild: bool = True) -> Posted:
    """Write rows into the ledger, inside the caller's transaction.

    A key that is not there is posted; one that is there with other values, or retracted, is corrected; the same again
    changes nothing. With ``rebuild`` the standings of the touched seasons are worked out anew.
    """
    wanted = {row.key: row for row in rows}
    known = {score.key: score for score in _locked_by_keys(wanted)}
    changed = [row for key, row in wanted.items() if key not in known or differs(known[key], row)]
    with ready_to_post(changed, known) as posting:
        posting.write(by=by, reason=reason)
    if rebuild and changed:
        rebuild_touched(posting.dates, posting.pairs)
    corrected = len(posting.known)
    return Posted(len(changed) - corrected, corrected, len(known) - corrected)


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


def differs(score: Score, row: ScoreRow) -> bool:
    """Tell whether posting the row would change the score: another value or pair, or it is not in force."""
    if score.retracted_at is not None or score.pair_id != row.pair.pk:
        return True
    return any(getattr(score, name) != getattr(row, name) for name in COMPARED if name != "judges") or (
        score.judges != list(row.judges)
    )
