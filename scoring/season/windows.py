"""The season: which days count, and how many competitions it holds. First stage of a scheme."""

from __future__ import annotations

import datetime as dt
from calendar import monthrange
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from scoring.documents import Reader, describe
from scoring.season.conditions import Condition, Verdict, all_true, conditions_in_words, read_conditions
from scoring.season.ledger import Score, read_day

__all__ = ["Season", "SeasonFacts", "Window", "read_season"]


@dataclass(frozen=True, slots=True)
class Window:
    """The days that count, both inclusive; None is open. ``dated`` is False where a score needs no date at all."""

    first: dt.date | None = None
    last: dt.date | None = None
    dated: bool = False

    def judge(self, score: Score) -> Verdict:
        """Say whether a score was ridden inside the window."""
        if not self.dated:
            return Verdict(True)
        if score.date is None:
            return Verdict(None, "its date is unknown")
        if self.first is not None and score.date < self.first:
            return Verdict(
                False, f"it was ridden on {_day(score.date)}, before the first day that counts, {_day(self.first)}"
            )
        if self.last is not None and score.date > self.last:
            return Verdict(
                False, f"it was ridden on {_day(score.date)}, after the last day that counts, {_day(self.last)}"
            )
        return Verdict(True)


@dataclass(frozen=True, slots=True)
class SeasonFacts:
    """What a scheme may ask about the season as a whole; ``held`` are the competitions where they were counted."""

    competitions: int = 0
    held: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Season:
    """``season``: fixed days, the last months or days before the as-of date, or a lifetime.

    ``competitions`` is the number of competitions in the season where the association knows it; otherwise they are
    counted in the ledger, those for which ``competitions_where`` holds on some score.
    """

    first: dt.date | None = None
    last: dt.date | None = None
    rolling_months: int | None = None
    rolling_days: int | None = None
    lifetime: bool = False
    competitions: int | None = None
    competitions_where: tuple[Condition, ...] = ()

    @property
    def rolling(self) -> bool:
        """Tell whether the days that count move with the as-of date."""
        return self.rolling_months is not None or self.rolling_days is not None

    def window(self, as_of: dt.date | None) -> Window:
        """Return the days that count on ``as_of``; nothing ridden after that day counts.

        Twelve rolling months as of 1 March 2027 are 2 March 2026 to 1 March 2027.

        >>> Season(rolling_months=12).window(dt.date(2027, 3, 1)).first
        datetime.date(2026, 3, 2)
        """
        days = [day for day in (self.last, as_of) if day is not None]
        last = min(days) if days else None
        first = self.first
        if as_of is not None and self.rolling_months is not None:
            first = _months_before(as_of, self.rolling_months) + dt.timedelta(days=1)
        if as_of is not None and self.rolling_days is not None:
            first = dt.date.fromordinal(max(1, as_of.toordinal() - self.rolling_days + 1))
        return Window(first, last, dated=first is not None or last is not None or self.rolling)

    def reaches_back_to(self, day: dt.date) -> dt.date:
        """Return the first day whose rides can count as of ``day`` or later, where the days do not say it themselves.

        Twelve rolling months reach back twelve months, a lifetime to any day; fixed days, and a scheme that leaves its
        days to whoever keeps the season, not behind ``day``.

        >>> Season(rolling_months=12).reaches_back_to(dt.date(2026, 10, 1))
        datetime.date(2025, 10, 2)
        """
        if self.lifetime:
            return dt.date.min
        return min(day, self.window(day).first or day) if self.rolling else day

    def facts(self, scores: Iterable[Score], *, window: Window) -> SeasonFacts:
        """Count the competitions of the season, over all scores of the ledger whoever rode them."""
        if self.competitions is not None:
            return SeasonFacts(self.competitions)
        held = frozenset(
            score.competition
            for score in scores
            if score.competition is not None
            and window.judge(score).truth
            and all_true(self.competitions_where, score).truth
        )
        return SeasonFacts(len(held), held)

    def words(self) -> str:
        """Say which days count."""
        if self.rolling_months is not None:
            return f"The last {self.rolling_months} months up to the as-of date count, that day included."
        if self.rolling_days is not None:
            return f"The last {self.rolling_days} days up to the as-of date count, that day included."
        if self.last is None:
            return "Rides of any date count." if self.first is None else f"Rides from {_day(self.first)} count."
        start = f"from {_day(self.first)} " if self.first else ""
        return f"Rides {start}to {_day(self.last)} count, {'both days' if start else 'that day'} included."

    def competitions_words(self) -> str:
        if self.competitions is not None:
            return f"The season has {self.competitions} competitions."
        where = f" with a score whose {conditions_in_words(self.competitions_where)}" if self.competitions_where else ""
        return f"The competitions of the season are those in the ledger{where}."


def _months_before(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    if year < dt.MINYEAR:
        return dt.date.min
    return dt.date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def read_season(reader: Reader) -> Season:
    """Read ``season``; without it every date counts."""
    part = reader.take_object("season")
    if part is None:
        return Season()
    where = read_conditions(part, "competitions") if isinstance(part.raw("competitions"), list | Mapping) else ()
    season = Season(
        first=_read_day(part, "from"),
        last=_read_day(part, "to"),
        rolling_months=part.take_int("rolling_months", least=1, most=1200),
        rolling_days=part.take_int("rolling_days", least=1, most=36600),
        lifetime=part.take_bool("lifetime"),
        competitions=None if where else _read_competitions(part),
        competitions_where=where,
    )
    part.finish()
    fixed = part.has("from") or part.has("to")
    if fixed + part.has("rolling_months") + part.has("rolling_days") + season.lifetime != 1:
        message = "A season is fixed days (from, to), rolling months, rolling days, or a lifetime. Give one of them."
        part.problem(None, message)
    if season.first is not None and season.last is not None and season.first > season.last:
        part.problem(
            "to", f"The season ends on {season.last}, before it starts on {season.first}. Correct one of them."
        )
    return season


def _read_competitions(part: Reader) -> int | None:
    raw = part.raw("competitions")
    return None if isinstance(raw, list | Mapping) else part.take_int("competitions", least=0, most=10_000)


def _day(day: dt.date) -> str:
    """Write a day as a person does.

    >>> _day(dt.date(2026, 10, 1))
    '1 October 2026'
    """
    return f"{day.day} {day:%B %Y}"


def _read_day(part: Reader, key: str) -> dt.date | None:
    raw = part.raw(key)
    try:
        return None if raw is None else read_day(raw)
    except ValueError as error:
        part.problem(key, f'"{key}" is {describe(raw)}. {error}')
        return None
