"""From the ledger to scores with a number: stages ``season``, ``eligible``, ``rerank`` and ``score`` of a scheme."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from scoring.season.conditions import Verdict, all_true
from scoring.season.counted import CountedScore
from scoring.season.ledger import Score, as_text, spoken
from scoring.season.reranking import ClassPlace, rerank, shared_places
from scoring.season.rows import GroupKey
from scoring.season.scheme import Scheme
from scoring.season.steps import number_of
from scoring.season.tables import UnknownFigure
from scoring.season.windows import SeasonFacts, Window

__all__ = ["Admitted", "admit", "counted_score", "day_in_force", "group_of", "unit_of"]


@dataclass(frozen=True, slots=True)
class Admitted:
    """The scores that came through, those that did not with the reason, and what the season as a whole holds."""

    entries: list[CountedScore] = field(default_factory=list)
    refused: list[tuple[Score, str]] = field(default_factory=list)
    facts: SeasonFacts = field(default_factory=SeasonFacts)


def day_in_force(scheme: Scheme, scores: Sequence[Score], as_of: date | None) -> date | None:
    """Return the day on which rolling seasons stand: ``as_of``, or the latest day in the ledger."""
    if as_of is not None:
        return as_of
    rolling = scheme.season.rolling_months is not None or scheme.season.rolling_days is not None
    days = [score.date for score in scores if score.date is not None]
    return max(days, default=None) if rolling else None


def unit_of(scheme: Scheme, score: Score) -> str | None:
    """Return the unit that a score belongs to, as text; None where the ledger does not say."""
    value = score.value_of(scheme.unit)
    return None if value is None else as_text(value)


def group_of(scheme: Scheme, score: Score) -> GroupKey:
    """Return the group that a score belongs to: each field of ``group_by`` with its value."""
    return tuple((name, score.value_of(name)) for name in scheme.group_by)


def admit(
    scheme: Scheme, scores: Sequence[Score], *, as_of: date | None, units: Collection[str] | None = None
) -> Admitted:
    """Take the scores of ``units`` (all, if None) through the first four stages.

    The rides of others are looked at only where the scheme asks for them: to count places again, to see who shares a
    place, to count the competitions of the season.
    """
    window = scheme.season.window(day_in_force(scheme, scores, as_of))
    facts = scheme.season.facts(scores, window=window) if scheme.needs_season_facts else SeasonFacts()
    admitted = Admitted(facts=facts)
    among = scores if scheme.rerank else [score for score in scores if _wanted(scheme, score, units)]
    eligible = []
    for score in among:
        verdict = _eligible(scheme, score, window=window)
        if verdict.truth:
            eligible.append(score)
        elif _wanted(scheme, score, units):
            admitted.refused.append((score, f"Not counted: {verdict.reason}."))
    ranked = rerank(eligible, by=scheme.rerank) if scheme.rerank else eligible
    places = _class_places(scheme, ranked if scheme.rerank else scores)
    for score in ranked:
        if _wanted(scheme, score, units):
            _number(scheme, score, place=places.get(score.score_id), admitted=admitted)
    return admitted


def _wanted(scheme: Scheme, score: Score, units: Collection[str] | None) -> bool:
    return units is None or unit_of(scheme, score) in units


def _eligible(scheme: Scheme, score: Score, *, window: Window) -> Verdict:
    if unit_of(scheme, score) is None:
        return Verdict(None, f"its {spoken(scheme.unit)} is unknown")
    verdict = window.judge(score)
    return all_true(scheme.eligible, score) if verdict.truth else verdict


def _class_places(scheme: Scheme, among: Sequence[Score]) -> Mapping[str, ClassPlace]:
    """Find who shares a place, where a number depends on it."""
    return shared_places(among, by=scheme.rerank or ("class",)) if scheme.needs_shared_places else {}


def _number(scheme: Scheme, score: Score, *, place: ClassPlace | None, admitted: Admitted) -> None:
    try:
        admitted.entries.append(counted_score(scheme, score, place=place))
    except UnknownFigure as error:
        admitted.refused.append((score, f"Not counted: {error}."))


def counted_score(scheme: Scheme, score: Score, *, place: ClassPlace | None = None) -> CountedScore:
    """Give an eligible score its number. Raises :class:`UnknownFigure` where the ledger lacks a value for it."""
    number = number_of(scheme.score, score, place=place)
    return CountedScore(score, number, -number if scheme.ascending else number)
