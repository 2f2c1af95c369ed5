"""Giving a season another scheme, or another version of its own: a deliberate act, with a reason."""

from __future__ import annotations

from riders.errors import Conflict, InvalidInput
from riders.intake import reason_from
from riders.models import Scheme, Season, StandingsRebuild, User
from riders.selectors.ledger import days_read, scores_in_force
from riders.services.closed import locked_season, refuse_closed
from riders.services.rebuilds import ask_for_rebuild, latest_rebuild
from riders.services.scheme_seasons import give_scheme
from riders.services.standings import store_standings
from riders.transactions import write_transaction
from scoring.season import read_scheme

MOST_AT_ONCE = 20_000
"""A season with more scores is worked out by the queue, and counts by the new scheme once that is complete."""


def switch_season(
    season: Season, *, to: Scheme, instead_of: Scheme, by: User | None, reason: str
) -> StandingsRebuild | None:
    """Count a season by another scheme or version, and work its standings out anew.

    Returns None where that is done, and what the queue does where the ledger is long. ``instead_of`` is what the person
    saw it counted by. Raises ``NotAllowed`` for a closed season, ``Conflict`` where somebody else has switched it
    meanwhile or is doing so, ``InvalidInput`` where it counts by that version already.
    """
    reason = reason_from(reason)
    with write_transaction():
        rule = read_scheme(to.document)
        refuse_closed(season, what="its scheme stays as it is")
        current = locked_season(season)
        _refuse_seen_wrongly(current, to=to, instead_of=instead_of)
        if scores_in_force().filter(date__range=days_read(current, rule)).count() > MOST_AT_ONCE:
            return ask_for_rebuild(current, by=by, scheme=to, reason=reason)
        under_way = latest_rebuild(current)
        if under_way is not None and under_way.scheme is not None and under_way.finished_at is None:
            raise Conflict(f"{current.title} is being given {under_way.scheme} just now. Wait until that is done.")
        give_scheme(current, to, by=by, reason=reason)
        store_standings(current)
    return None


def _refuse_seen_wrongly(current: Season, *, to: Scheme, instead_of: Scheme) -> None:
    if current.scheme_id == to.pk:
        raise InvalidInput(
            f"{current.title} counts by version {to.version} of this scheme already.", code="nothing-changed"
        )
    if current.scheme_id != instead_of.pk:
        raise Conflict(
            f"{current.title} was given {current.scheme} meanwhile. Look at it again before you change it.",
            current=current,
        )
