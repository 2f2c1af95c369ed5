"""Official results to the ledger and back: which rows of ``scores/1`` a class stands for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from competitions.models import CompetitionClass, Entry, PublishedResults
from competitions.selectors.documents import test_of
from riders.models import Horse, Score, User
from riders.services.ledger import ScoreRow, post_scores, retract_scores


def post_class(competition_class: CompetitionClass, published: PublishedResults, *, by: User | None) -> None:
    """Post one score for each entry of the official results; entries that left the list are retracted."""
    entries = {
        entry.number: entry for entry in competition_class.entries.select_related("pair__rider", "pair__horse__owner")
    }
    rows = [
        _score_row(competition_class, entries[document["number"]], document, published.document)
        for document in published.document["entries"]
        if document["number"] in entries
    ]
    reason = published.reason or f"official results, revision {published.revision}"
    keys = {row.key for row in rows}
    left = set(_posted_keys(competition_class)) - keys
    if left:
        retract_scores(left, by=by, reason=reason, rebuild=False)
    post_scores(rows, by=by, reason=reason)


def retract_class(competition_class: CompetitionClass, *, by: User | None, reason: str) -> None:
    """Take every score of the class out of force."""
    retract_scores(_posted_keys(competition_class), by=by, reason=reason)


def _key_prefix(competition_class: CompetitionClass) -> str:
    return f"{competition_class.competition.slug}/{competition_class.number}/"


def _posted_keys(competition_class: CompetitionClass) -> list[str]:
    scores = Score.objects.filter(source=Score.Source.CLASS, key__startswith=_key_prefix(competition_class))
    return list(scores.values_list("key", flat=True))


def _score_row(
    competition_class: CompetitionClass, entry: Entry, document: Mapping[str, Any], results: Mapping[str, Any]
) -> ScoreRow:
    competition, test = competition_class.competition, test_of(competition_class)
    horse = entry.pair.horse
    return ScoreRow(
        key=f"{_key_prefix(competition_class)}{entry.number}",
        source=Score.Source.CLASS,
        pair=entry.pair,
        date=competition_class.date,
        competition=competition.slug,
        class_name=competition_class.number,
        division=competition_class.division,
        level=competition_class.level or test.level,
        test=test.id,
        highest_of_level=test.highest_of_level,
        kind=test.kind,
        judges=[seat.judge.name if seat.judge else seat.seat for seat in _panel(competition_class)],
        percentage=document["total"] or "",
        collectives=document["collectives"] or "",
        placing=document["placing"],
        starters=_starters(results) or None,
        status=document["status"],
        hors_concours=document["hors_concours"],
        recognised=competition.recognised,
        venue=competition.venue,
        owner=horse.owner.name if horse.owner else "",
        team=entry.team,
        horse_age=_age(horse, competition_class),
    )


def _age(horse: Horse, competition_class: CompetitionClass) -> int | None:
    """Return the horse's age in the year of the class; a year of birth after it cannot be right, and tells no age."""
    if horse.born is None or horse.born > competition_class.date.year:
        return None
    return competition_class.date.year - horse.born


def _panel(competition_class: CompetitionClass) -> list[Any]:
    return list(competition_class.seats.select_related("judge"))


def _starters(results: Mapping[str, Any]) -> int:
    """Count who started in the competition: neither withdrawn, absent nor hors concours."""
    return sum(
        document["status"] not in {"withdrawn", "no-show"} and not document["hors_concours"]
        for document in results["entries"]
    )
