"""Who has a sheet open at the moment: a hint for the next one who opens it, kept in the cache and never relied on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.cache import cache
from django.utils import timezone

from competitions.models import Entry, PanelSeat
from riders.models import User

_KEPT = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Opening:
    """Somebody else had the sheet open at this moment."""

    name: str
    at: datetime


def note_opening(*, entry: Entry, seat: PanelSeat, by: User) -> list[Opening]:
    """Note that ``by`` has the sheet open now and return who else had it open in the last minutes."""
    key, now = _key(entry, seat), timezone.now()
    openings: dict[int, tuple[str, datetime]] = cache.get(key) or {}
    recent = {user: seen for user, seen in openings.items() if now - seen[1] <= _KEPT}
    others = [Opening(name, at) for user, (name, at) in recent.items() if user != by.pk]
    cache.set(key, {**recent, by.pk: (str(by), now)}, timeout=_KEPT.total_seconds())
    return sorted(others, key=lambda opening: opening.at, reverse=True)


def note_closing(*, entry: Entry, seat: PanelSeat, by: User) -> None:
    """Forget that ``by`` has the sheet open, because it has been saved and left."""
    key = _key(entry, seat)
    openings: dict[int, tuple[str, datetime]] = cache.get(key) or {}
    if openings.pop(by.pk, None):
        cache.set(key, openings, timeout=_KEPT.total_seconds())


def _key(entry: Entry, seat: PanelSeat) -> str:
    return f"sheet-open-{entry.pk}-{seat.pk}"
