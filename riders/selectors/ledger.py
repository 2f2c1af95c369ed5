"""Reading the ledger: as records of ``scores/1``, for a season, for a pair."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from riders.csvrows import write_rows
from riders.models import Membership, Pair, Score, Season
from scoring import season as season_rules
from scoring.season import Scheme

COLUMNS = (
    "score_id",
    "pair",
    "rider",
    "horse",
    "division",
    "level",
    "test",
    "highest_of_level",
    "kind",
    "date",
    "competition",
    "class",
    "judges",
    "percentage",
    "collectives",
    "placing",
    "starters",
    "status",
    "hors_concours",
    "recognised",
    "member",
    "region",
    "team",
    "venue",
    "owner",
    "horse_age",
)
_NAMES = {
    "score_id": "key",
    "pair": "pair__key",
    "rider": "pair__rider__listed",
    "horse": "pair__horse__listed",
    "class": "class_name",
}
_READ = tuple(_NAMES.get(column, column) for column in COLUMNS)


def scores_in_force() -> QuerySet[Score]:
    """Return the scores that have not been retracted, with what a record needs."""
    return Score.objects.filter(retracted_at__isnull=True).select_related("pair__rider", "pair__horse")


def score_record(score: Score) -> dict[str, str]:
    """Return a score as the text fields of ``scores/1``; empty is unknown."""
    return {
        "score_id": score.key,
        "pair": score.pair.key,
        "rider": score.pair.rider.name,
        "horse": score.pair.horse.name,
        "division": score.division,
        "level": score.level,
        "test": score.test,
        "highest_of_level": _flag(score.highest_of_level),
        "kind": score.kind,
        "date": score.date.isoformat(),
        "competition": score.competition,
        "class": score.class_name,
        "judges": ";".join(score.judges),
        "percentage": score.percentage,
        "collectives": score.collectives,
        "placing": _count(score.placing),
        "starters": _count(score.starters),
        "status": score.status,
        "hors_concours": _flag(score.hors_concours),
        "recognised": _flag(score.recognised),
        "member": _flag(score.member),
        "region": score.region,
        "team": score.team,
        "venue": score.venue,
        "owner": score.owner,
        "horse_age": _count(score.horse_age),
    }


def scores_csv(scores: Iterable[Score]) -> Iterator[str]:
    """Yield the lines of a ``scores/1`` CSV file, header first; cells that look like formulas are guarded."""
    return write_rows(COLUMNS, map(score_record, scores))


@dataclass(frozen=True, slots=True)
class SeasonLedger:
    """Scores of a season as ``scoring`` reads them, with the numbers of the rows they and their pairs have here."""

    scores: tuple[season_rules.Score, ...]
    numbers: Mapping[str, int]
    pairs: Mapping[str, int]


def days_read(season: Season, scheme: Scheme | None = None) -> tuple[date, date]:
    """Return the first and the last day whose rides a season can count, by its own scheme or by another.

    They are the days of the season; rolling days and a lifetime reach back behind its first.
    """
    if scheme is None:
        return season.reads_from or season.starts_on, season.ends_on
    return scheme.season.reaches_back_to(season.starts_on), season.ends_on


def reads_one_of(season: Season, days: Collection[date]) -> bool:
    """Tell whether a season reads any of these days by its own scheme."""
    first, last = days_read(season)
    return any(first <= day <= last for day in days)


def season_ledger(season: Season, scheme: Scheme, *, among: QuerySet[Score] | None = None) -> SeasonLedger:
    """Return every score in the days that the scheme reads, with ``member`` worked out for the season's association.

    With ``among`` only these scores, retracted ones still left out.

    A rider is a member if a membership of the association covers the day of the ride. Where the association has no
    memberships at all, the value that came with the score stands.
    """
    chosen = Score.objects if among is None else among
    rows = (
        chosen.filter(retracted_at__isnull=True, date__range=days_read(season, scheme))
        .order_by("date", "key")
        .values_list("pk", "pair_id", "pair__rider_id", *_READ)
    )
    periods = membership_periods(season)
    records, numbers, pairs = [], dict[str, int](), dict[str, int]()
    for number, pair, rider, *values in rows.iterator(chunk_size=2000):
        record = dict(zip(COLUMNS, values, strict=True))
        if periods is not None:
            record["member"] = _covered(periods.get(rider, []), record["date"])
        records.append(record)
        numbers[record["score_id"]], pairs[record["pair"]] = number, pair
    return SeasonLedger(season_rules.scores_from_rows(records), numbers, pairs)


def season_records(season: Season) -> Iterator[dict[str, str]]:
    """Yield the records of ``scores/1`` that :func:`season_ledger` reads, as text."""
    periods = membership_periods(season)
    scores = Score.objects.filter(retracted_at__isnull=True, date__range=days_read(season))
    rows = scores.order_by("date", "key").values_list("date", "pair__rider_id", *_READ)
    for day, rider, *values in rows.iterator(chunk_size=2000):
        record = dict(zip(COLUMNS, map(_text, values), strict=True))
        if periods is not None:
            record["member"] = _flag(_covered(periods.get(rider, []), day))
        yield record


def scores_of_pair(pair: Pair) -> QuerySet[Score]:
    return scores_in_force().filter(pair=pair).order_by("-date", "key")


def membership_periods(season: Season) -> dict[int, list[tuple[date, date | None]]] | None:
    """Return from when to when each rider is a member of the season's association; None where it keeps no members."""
    memberships = Membership.objects.filter(association=season.association)
    if not memberships.exists():
        return None
    periods: dict[int, list[tuple[date, date | None]]] = {}
    for rider_id, start, end in memberships.filter(kind=Membership.Kind.PERSON).values_list(
        "rider_id", "starts_on", "ends_on"
    ):
        periods.setdefault(rider_id, []).append((start, end))
    return periods


def _covered(periods: Iterable[tuple[date, date | None]], day: date) -> bool:
    return any(start <= day and (end is None or day <= end) for start, end in periods)


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or value is None:
        return _flag(value)
    if isinstance(value, list):
        return ";".join(value)
    return value.isoformat() if isinstance(value, date) else str(value)


def _flag(value: bool | None) -> str:
    return "" if value is None else "true" if value else "false"


def _count(value: int | None) -> str:
    return "" if value is None else str(value)
