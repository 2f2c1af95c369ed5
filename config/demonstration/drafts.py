"""A season rule at work: a next version that no season counts by yet, and a draft whose writer has gone home."""

from __future__ import annotations

import copy
from collections.abc import Callable

from riders.models import Scheme, Season, User
from riders.services.scheme_drafts import keep_draft, open_draft
from riders.services.scheme_versions import save_version

REASON = "The committee asked what it would mean if the five best counted."


def leave_a_rule_half_written(season: Season, *, by: User, say: Callable[[str], None]) -> None:
    """Save a next version of a season's scheme and begin a draft after it; the season goes on by the version it has."""
    document = copy.deepcopy(season.scheme.document)
    document["value"]["take"]["best"] = 5
    document["require"][0]["at_least"] = 5
    saved = Scheme.objects.filter(key=season.scheme.key, version__gt=season.scheme.version).first()
    if saved is None:
        based_on = season.scheme.version
        saved = save_version(document, association=season.association, based_on=based_on, by=by, reason=REASON)
    draft = open_draft(saved, association=season.association, by=by)
    value = document["value"] | {"aggregate": "median"}
    keep_draft(draft, document | {"value": value}, seen=draft.version)
    say(f"{saved.title}: version {saved.version} saved, not in use, and a draft after it.")
