"""That a season was given another scheme: set and noted together, by whoever has its standings worked out."""

from __future__ import annotations

from django.db import transaction

from riders.models import Scheme, Season, SeasonSchemeChange, User
from scoring import season as season_rules


def give_scheme(season: Season, scheme: Scheme, *, by: User | None, reason: str) -> None:
    """Set the scheme of a season and note it, inside the caller's transaction; the standings are not worked out."""
    assert transaction.get_connection().in_atomic_block  # noqa: S101 - the history stands or falls with the change
    SeasonSchemeChange.objects.create(season=season, before=season.scheme, after=scheme, by=by, reason=reason)
    season.scheme = scheme
    set_first_day_read(season)
    season.save(update_fields=["scheme", "reads_from"])


def set_first_day_read(season: Season) -> None:
    """Note on a season, which is not saved yet, how far back its scheme reads."""
    first = season_rules.read_scheme(season.scheme.document).season.reaches_back_to(season.starts_on)
    season.reads_from = first if first < season.starts_on else None
