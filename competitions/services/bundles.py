"""A competition's official results as one ``bundle/1`` file: all that an association needs to recompute and count them.

Names travel under ``x-`` keys, so that scores can be posted elsewhere as they stand in the ledger here. Neither remarks
nor contact data do. Marks do, because nothing can be recomputed without them: the file is for the office and the
association.

of a class
    ``x-number``, ``x-date``, ``x-level``, ``x-division``, ``x-venue``, ``x-recognised``
of a seat of its panel
    ``x-judge``
of an entry
    ``x-pair`` (the pair's key), ``x-rider``, ``x-rider-registration``, ``x-horse``, ``x-horse-registration``,
    ``x-horse-born``, ``x-horse-age``, ``x-owner``
"""

from __future__ import annotations

import json
from typing import Any

from competitions.models import Competition, CompetitionClass, PublishedResults
from competitions.services.results import public_results
from riders.errors import NotAllowed
from riders.models import Score
from scoring.bundles import bundle_digest


def bundle_document(competition: Competition) -> dict[str, Any]:
    """Return ``bundle/1`` with every class whose results are official, each as published; ``NotAllowed`` with none.

    A class that is being corrected is left out until the corrected results are official (see ``classes_left_out``).
    """
    classes = [found for found in _classes(competition) if _why_left_out(found) is None]
    if not classes:
        raise NotAllowed(
            f"No class of {competition.title} has official results yet, so there is nothing to hand on.",
            code="nothing-official",
        )
    document = {
        "format": "bundle/1",
        "competition": _competition(competition),
        "classes": [_claim(found) for found in classes],
    }
    return {**document, "digest": bundle_digest(document)}


def bundle_text(competition: Competition) -> str:
    """Return the bundle as the text of its file."""
    return json.dumps(bundle_document(competition), ensure_ascii=False, indent=1) + "\n"


def classes_left_out(competition: Competition) -> tuple[tuple[str, str], ...]:
    """Return (class number, why) for each class that the bundle does not hold."""
    return tuple((found.number, why) for found in _classes(competition) if (why := _why_left_out(found)) is not None)


def _classes(competition: Competition) -> list[CompetitionClass]:
    return list(competition.classes.select_related("test", "rule_set").order_by("date", "starts_at", "number", "pk"))


def _why_left_out(competition_class: CompetitionClass) -> str | None:
    if competition_class.results_state != CompetitionClass.ResultsState.OFFICIAL:
        return f"Its results are {competition_class.results_state}."
    if competition_class.correction_reason:
        return "Its results are being corrected."
    return None


def _competition(competition: Competition) -> dict[str, Any]:
    return {
        "id": competition.slug,
        "title": competition.title,
        "venue": competition.venue,
        "organiser": competition.organiser,
        "starts_on": competition.starts_on.isoformat(),
        "ends_on": competition.ends_on.isoformat(),
        "time_zone": competition.time_zone,
        "association": competition.association.slug if competition.association else None,
        "recognised": competition.recognised,
    }


def _claim(competition_class: CompetitionClass) -> dict[str, Any]:
    published = competition_class.published.get(revision=competition_class.revision)
    return {
        "class": _class(competition_class, published),
        "results": public_results(published.document, competition_class),
        "published_at": published.published_at.isoformat(),
        "revision": published.revision,
    }


def _class(competition_class: CompetitionClass, published: PublishedResults) -> dict[str, Any]:
    """Return the class as it became official, with the names and facts of the scores that it then posted."""
    document = published.class_document
    scores = _scores(document["id"])
    found = next(iter(scores.values()))
    return {
        **document,
        "x-number": competition_class.number,
        "x-date": found.date.isoformat(),
        "x-level": found.level,
        "x-division": found.division,
        "x-venue": found.venue,
        "x-recognised": found.recognised,
        "panel": [{**seat, "x-judge": judge} for seat, judge in zip(document["panel"], found.judges, strict=True)],
        "entries": [{**row, **_people(scores[f"{document['id']}/{row['number']}"])} for row in document["entries"]],
    }


def _scores(class_id: str) -> dict[str, Score]:
    scores = Score.objects.filter(
        source=Score.Source.CLASS, retracted_at__isnull=True, key__startswith=f"{class_id}/"
    ).select_related("pair__rider", "pair__horse")
    return {score.key: score for score in scores.order_by("key")}


def _people(score: Score) -> dict[str, Any]:
    rider, horse = score.pair.rider, score.pair.horse
    return {
        "x-pair": score.pair.key,
        "x-rider": rider.name,
        "x-rider-registration": rider.registration,
        "x-horse": horse.name,
        "x-horse-registration": horse.registration,
        "x-horse-born": horse.born,
        "x-horse-age": score.horse_age,
        "x-owner": score.owner,
    }
