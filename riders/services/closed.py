"""What a closed season refuses; asked inside the transaction that would change it."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from riders.errors import NotAllowed
from riders.models import Season


def locked_season(season: Season) -> Season:
    """Return the season as it stands now, locked until the caller's transaction ends."""
    return Season.objects.select_for_update(of=("self",)).select_related("scheme", "association").get(pk=season.pk)


def open_seasons(within: Q) -> QuerySet[Season]:
    """Select open seasons, locked until the caller's transaction ends, so that none is closed while it is written."""
    seasons = Season.objects.select_for_update(of=("self",)).filter(within, closed_at__isnull=True)
    return seasons.select_related("scheme", "association").order_by("pk")


def refuse_closed(season: Season, *, what: str) -> None:
    """Raise ``NotAllowed`` where the season is closed; ``what`` says what is left as it was: "its scheme stays"."""
    if locked_season(season).closed_at is not None:
        raise NotAllowed(
            f"{season.title} of {season.association.title} is closed, so {what}. Reopen it with a reason first, then "
            "close it again.",
            code="season-closed",
        )
