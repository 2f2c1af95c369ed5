"""What tests and competitions are called: the ledger holds their ids, and a room above knows their titles.

That room registers when its app starts (``AppConfig.ready``); nothing here imports it. An id that nobody knows stays.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping

from riders.models import Score

Known = Callable[[Collection[str]], Mapping[str, str]]
"""Return the titles of those of these ids that are known."""

_known: dict[str, Known] = {}


def register(kind: str, known: Known) -> None:
    """Say who knows the titles of ``test`` or ``competition``."""
    _known[kind] = known


def give_titles(scores: Iterable[Score]) -> None:
    """Set ``test_title`` and ``competition_title`` of scores that are to be shown."""
    scores = list(scores)
    for kind in ("test", "competition"):
        ids = {getattr(score, kind) for score in scores} - {""}
        titles = _known[kind](ids) if ids and kind in _known else {}
        for score in scores:
            setattr(score, f"{kind}_title", titles.get(getattr(score, kind), ""))
