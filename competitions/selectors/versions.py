"""Which version a class shows: the cheapest question there is, asked by every screen every two seconds."""

from __future__ import annotations

import threading
import time

from competitions.models import CompetitionClass

_KEPT_SECONDS = 0.25
_lock = threading.Lock()
_kept: dict[int, tuple[float, int]] = {}


def class_version(class_id: int) -> int | None:
    """Return the version of a class, at most a quarter of a second old; None when there is no such class.

    A change made by this process is seen at once (``forget_version`` on commit), one made elsewhere within that
    quarter of a second: less than the two seconds between two polls.
    """
    now = time.monotonic()
    found = _kept.get(class_id)
    if found is not None and now - found[0] < _KEPT_SECONDS:
        return found[1]
    version = CompetitionClass.objects.filter(pk=class_id).values_list("version", flat=True).first()
    if version is not None:
        with _lock:
            if len(_kept) > 10_000:
                _kept.clear()
            _kept[class_id] = (now, version)
    return version


def forget_version(class_id: int) -> None:
    """Drop what is kept of a class, after a change of it has been committed."""
    with _lock:
        _kept.pop(class_id, None)
