"""The season of the demonstration that is over: closed by its keeper, with its lists and certificates."""

from __future__ import annotations

from typing import Any

from riders.models import Association, User
from riders.services.closing import close_season

CLOSED = "2026"
_REASON = "All results of the year are in, and the lists were read out at the meeting."


def close_past_season(association: Association, *, by: User) -> str:
    """Close the season where it has never been closed, and say so; one that was reopened stays open."""
    season = association.seasons.get(slug=CLOSED)
    if not season.editions.exists():
        close_season(season, expected_version=season.version, by=by, reason=_REASON)
    edition = season.editions.order_by("-number").values_list("number", flat=True)[0]
    return f"{season.title} is closed: edition {edition} of its lists."


def year_end_documents(association: Association) -> list[dict[str, Any]]:
    """Return what to ask for at the end of the year: every list as every kind of file, and the certificates."""
    season = association.seasons.get(slug=CLOSED)
    if season.closed_at is None:
        return []
    lists = [
        {"kind": kind, "target": season.pk, "options": {"format": form, **more}}
        for kind, more in (
            ("season-standings", {}),
            ("season-awards", {"places": 3}),
            ("season-qualified", {"order": "name"}),
        )
        for form in ("pdf", "xlsx", "csv")
    ]
    certificates: list[dict[str, Any]] = [
        {"kind": "season-certificates", "target": season.pk, "options": options}
        for options in ({"of": "placed", "places": 3}, {"of": "qualified"})
    ]
    return [*lists, *certificates]
