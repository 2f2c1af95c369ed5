"""Giving a season another scheme, or another version of its own: a deliberate act, with a reason."""

from __future__ import annotations

from django.db import transaction

from riders.errors import Conflict, InvalidInput
from riders.intake import reason_from
from riders.models import Scheme, Season, SeasonSchemeChange, User
from riders.services.closed import locked_season, refuse_closed
from riders.services.standings import store_standings
from riders.transactions import write_transaction


def switch_season(season: Season, *, to: Scheme, instead_of: Scheme, by: User | None, reason: str) -> Season:
    """Count a season by another scheme or version from now on, and work its standings out anew.

    ``instead_of`` is what the person saw it counted by. Raises ``NotAllowed`` for a closed season, ``Conflict`` where
    somebody else has switched it meanwhile, ``InvalidInput`` where it counts by that version already.
    """
    reason = reason_from(reason)
    with write_transaction():
        refuse_closed(season, what="its scheme stays as it is")
        current = locked_season(season)
        if current.scheme_id == to.pk:
            raise InvalidInput(
                f"{current.title} counts by version {to.version} of this scheme already.", code="nothing-changed"
            )
        if current.scheme_id != instead_of.pk:
            raise Conflict(
                f"{current.title} was given {current.scheme} meanwhile. Look at it again before you change it.",
                current=current,
            )
        give_scheme(current, to, by=by, reason=reason)
        store_standings(current)
    return current


def give_scheme(season: Season, scheme: Scheme, *, by: User | None, reason: str) -> None:
    """Set the scheme of a season and note it, inside the caller's transaction; the standings are not worked out."""
    assert transaction.get_connection().in_atomic_block  # noqa: S101 - the history stands or falls with the change
    SeasonSchemeChange.objects.create(season=season, before=season.scheme, after=scheme, by=by, reason=reason)
    season.scheme = scheme
    season.save(update_fields=["scheme"])
