"""What a draft would do to a season of 20,000 scores, worked out while its writer waits.

Compared in the same run with working the season's standings out and storing them, which is what switching to it costs,
and with the editor's own work at a pause in typing: reading the form of the longest published scheme and drawing it.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from typing import Any

SCORES = 20_000


def run(scores: int = SCORES) -> dict[str, float | str]:
    from django.db import transaction

    with transaction.atomic():
        found = _measured(scores)
        transaction.set_rollback(True)  # the other benchmarks fill the same database with a ledger of their own
    return found


def _measured(scores: int) -> dict[str, float | str]:
    from django.core.cache import cache

    from riders.services.scheme_effects import effect_of, unit_under
    from riders.services.standings import store_standings
    from tests.benchmarks.ledgers import SCHEME, fill

    season = fill(scores)
    whole, _ = _timed(lambda: store_standings(season))
    season.refresh_from_db()
    cache.clear()
    draft = SCHEME | {"value": {"take": {"best": 6}, "aggregate": "mean"}}
    first, effect = _timed(lambda: effect_of(draft, season))
    again, _ = _timed(lambda: effect_of(draft, season))
    opened, _ = _timed(lambda: unit_under(draft, season, unit=effect.rows[0].unit))
    exact = draft | {"value": {"take": {"best": 6, "must": [{"count": "judges", "at_least": 4}]}, "aggregate": "mean"}}
    searched, _ = _timed(lambda: effect_of(exact, season))
    keystroke, fields = _timed(_keep_the_longest)
    return {
        "load of the machine": " ".join(f"{one:.1f}" for one in os.getloadavg()),
        "scores": str(effect.scores),
        "units that change": str(len(effect.of())),
        "effect, s": first,
        "effect asked for again, s": again,
        "one unit's scores under the draft, s": opened,
        "effect of a rule that needs a search for each unit, s": searched,
        "standings worked out and stored, s": whole,
        "effect to standings stored": first / whole,
        f"a pause in typing in a form of {fields} fields, s": keystroke,
    }


def _timed(act: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = act()
    return time.perf_counter() - start, found


def _keep_the_longest() -> int:
    from config.environment import ROOT
    from riders.pages.scheme_form import draw_scheme, read_scheme_form
    from riders.pages.scheme_nodes import Typed
    from scoring.season.drafting import read_draft

    files = (ROOT / "fixtures" / "schemes" / "published").glob("*.json")
    document = json.loads(max((path.read_text() for path in files), key=len))
    kept = read_scheme_form(document, Typed({}))
    return len(draw_scheme(kept, problems=read_draft(kept).problems).shown)
