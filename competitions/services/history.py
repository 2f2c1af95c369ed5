"""The histories that people may want to see: what was done to a competition and to a class, by whom, and why."""

from __future__ import annotations

from typing import Any

from competitions.models import ClassChange, Competition, CompetitionChange, CompetitionClass
from riders.models import User


def note_class(
    competition_class: CompetitionClass,
    action: str,
    *,
    by: User | None,
    reason: str = "",
    before: object = None,
    after: object = None,
) -> None:
    """Add a line to the history of a class, inside the caller's transaction."""
    ClassChange.objects.create(
        competition_class=competition_class, action=action, by=by, reason=reason[:300], before=before, after=after
    )


def note_competition(
    competition: Competition, *, by: User | None, before: dict[str, Any] | None, after: dict[str, Any]
) -> None:
    """Add a line to the history of a competition, inside the caller's transaction; no difference, no line."""
    if before != after:
        CompetitionChange.objects.create(competition=competition, by=by, before=before, after=after)


def competition_record(competition: Competition) -> dict[str, Any]:
    """Return what the history keeps of a competition."""
    return {
        "title": competition.title,
        "venue": competition.venue,
        "organiser": competition.organiser,
        "starts_on": str(competition.starts_on),
        "ends_on": str(competition.ends_on),
        "time_zone": competition.time_zone,
        "state": competition.state,
        "association": competition.association_id,
        "recognised": competition.recognised,
        "seat_limit": competition.seat_limit,
        "movement_limit": competition.movement_limit,
        "sheets_signed": competition.sheets_signed,
        "second_keying": competition.second_keying,
        "second_keying_remarks": competition.second_keying_remarks,
    }


def class_record(competition_class: CompetitionClass) -> dict[str, Any]:
    """Return what the history keeps of a class and its panel."""
    return {
        "number": competition_class.number,
        "title": competition_class.title,
        "level": competition_class.level,
        "division": competition_class.division,
        "test": competition_class.test.key,
        "rule_set": competition_class.rule_set.key,
        "arena": competition_class.arena,
        "date": str(competition_class.date),
        "starts_at": str(competition_class.starts_at or ""),
        "interval_seconds": competition_class.interval_seconds,
        "breaks": competition_class.breaks,
        "from_recordings": competition_class.from_recordings,
        "second_keying": competition_class.second_keying,
        "panel": [
            {"seat": seat.seat, "judge": seat.judge.name if seat.judge else "", "parts": seat.parts}
            for seat in competition_class.seats.select_related("judge")
        ],
    }
