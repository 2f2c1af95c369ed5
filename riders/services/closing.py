"""A season closed, reopened, corrected and closed again, each with a person, a time and a reason.

A closed season stands by its latest edition (:mod:`riders.services.editions`): its scheme and days are fixed, and
nothing that comes to the ledger later moves its lists. Reopening lets the standings follow the ledger again; the
edition stays as it was, and closing again makes the next one.
"""

from __future__ import annotations

from django.utils import timezone

from riders.errors import Conflict, NotAllowed
from riders.intake import reason_from
from riders.models import Season, SeasonChange, SeasonEdition, User
from riders.selectors.editions import edition_in_force
from riders.services.closed import locked_season
from riders.services.editions import write_edition
from riders.services.standings import store_standings
from riders.transactions import write_transaction


def close_season(season: Season, *, expected_version: int, by: User | None, reason: str) -> SeasonEdition:
    """Work the standings out once more, freeze them as the next edition, and close the season.

    Raises ``Conflict`` where the standings are no longer at ``expected_version``, ``NotAllowed`` where the season is
    closed already.
    """
    reason = reason_from(reason)
    with write_transaction():
        current = locked_season(season)
        _refuse_stale(current, expected_version)
        if current.closed_at is not None:
            since = f"{current.closed_at.day} {current.closed_at:%B %Y}"
            raise NotAllowed(
                f"{current.title} is closed already, since {since}. Reopen it first, if something in it has to be "
                "corrected.",
                code="season-closed",
            )
        now = timezone.now()
        store_standings(current)
        edition = write_edition(current, at=now)
        SeasonChange.objects.create(
            season=current, action=SeasonChange.Action.CLOSED, at=now, by=by, reason=reason, edition=edition
        )
        Season.objects.filter(pk=current.pk).update(closed_at=now)
    season.refresh_from_db()
    return edition


def reopen_season(season: Season, *, expected_version: int, by: User | None, reason: str) -> Season:
    """Let a closed season follow the ledger again; its edition is no longer in force, and stays as it is."""
    reason = reason_from(reason)
    with write_transaction():
        current = locked_season(season)
        _refuse_stale(current, expected_version)
        edition = edition_in_force(current)
        if edition is None:
            raise NotAllowed(f"{current.title} is open already, so there is nothing to reopen.", code="season-open")
        SeasonChange.objects.create(
            season=current,
            action=SeasonChange.Action.REOPENED,
            at=timezone.now(),
            by=by,
            reason=reason,
            edition=edition,
        )
        Season.objects.filter(pk=current.pk).update(closed_at=None)
        store_standings(current)
    season.refresh_from_db()
    return season


def _refuse_stale(current: Season, expected_version: int) -> None:
    if current.version != expected_version:
        now = f"at version {current.version}{'' if current.closed_at is None else ', and the season is closed'}"
        raise Conflict(
            f"The standings of {current.title} have changed since you looked at them: they are {now}. Look at them "
            "again, then decide.",
            current=current,
        )
