"""What visitors who are not logged in may ask the service to work out while they wait.

Standings of a day in the past are worked out on the spot and kept a while; a day that is kept costs nothing and is
never refused. Of the others one is worked out at a time for all who are not logged in, and each address has so many of
them in ten minutes, so that no one keeps the threads of the service busy by asking for day after day.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

WINDOW_SECONDS = 600
DAYS_FROM_ONE_ADDRESS = 60
_LONGEST_WORK = 60
_WORKING = "past-standings-at-work"


class TooMany(Exception):  # noqa: N818 - reads as the sentence it carries
    """More than a visitor may have worked out now; ``wait`` is in seconds."""

    def __init__(self, message: str, *, wait: int) -> None:
        super().__init__(message)
        self.message, self.wait = message, wait


@contextmanager
def work_for_visitor(request: HttpRequest) -> Iterator[None]:
    """Let something be worked out for a visitor; whoever is logged in is neither counted nor kept waiting.

    Raises :class:`TooMany`.
    """
    if request.user.is_authenticated:
        yield
        return
    key = f"past-standings-{hashlib.sha256(address_of_visitor(request).encode()).hexdigest()}"
    if cache.get(key, 0) >= DAYS_FROM_ONE_ADDRESS:
        raise TooMany(
            f"You have looked at {DAYS_FROM_ONE_ADDRESS} days within ten minutes, and each of them has to be worked "
            "out. Wait ten minutes, or log in: whoever is logged in may go on.",
            wait=WINDOW_SECONDS,
        )
    if not cache.add(_WORKING, True, _LONGEST_WORK):
        raise TooMany(
            "The standings of another day are being worked out for somebody else just now. Ask again in a few seconds.",
            wait=5,
        )
    try:
        count(key)
        yield
    finally:
        cache.delete(_WORKING)


def count(key: str) -> None:
    """Count one more in the cache; the count is forgotten ten minutes after its first."""
    cache.add(key, 0, WINDOW_SECONDS)
    try:
        cache.incr(key)
    except ValueError:  # it ran out between the two calls
        cache.set(key, 1, WINDOW_SECONDS)


def address_of_visitor(request: HttpRequest) -> str:
    """Return where a request comes from; behind a proxy what the proxy itself wrote, elsewhere nobody is believed."""
    named: str = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.BEHIND_PROXY else ""
    return named.rpartition(",")[2].strip() or request.META.get("REMOTE_ADDR", "")
