"""The rule for teams of one class: the ``teams`` object of ``class/1``. Who rides for a team stands in the entries."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import scoring
from competitions.models import CompetitionClass
from competitions.selectors.documents import class_document
from competitions.services.clock import lock_open_class
from competitions.services.history import note_class
from competitions.services.results import recompute_class
from riders.errors import Conflict, InvalidInput
from riders.intake import plain_document
from riders.models import User
from riders.transactions import write_transaction


def set_team_rules(
    competition_class: CompetitionClass,
    rules: Mapping[str, Any] | None,
    *,
    expected_version: int | None = None,
    by: User | None,
    reason: str = "",
) -> CompetitionClass:
    """Give the class a rule for teams, or none, and work the results out anew.

    ``rules`` is as in ``class/1``: ``{"counting": 3, "method": "sum", "of": "percentage", "drop_out": null}``. Refused
    with every problem (``teams.counting``) where it cannot be used with the rule set of the class, and while results
    are official.
    """
    with write_transaction():
        current = lock_open_class(competition_class.pk)
        if expected_version is not None and current.version != expected_version:
            raise Conflict("The class was changed by someone else. Look at it again, then save.", current=current)
        wanted = None if rules is None else plain_document(rules)
        refuse_bad_team_rules(current, wanted)
        if wanted != current.team_rules:
            before, current.team_rules = current.team_rules, wanted
            current.save(update_fields=["team_rules", "changed_at"])
            note_class(
                current, "teams changed", by=by, reason=reason, before={"teams": before}, after={"teams": wanted}
            )
            recompute_class(current)
    return current


def refuse_bad_team_rules(competition_class: CompetitionClass, rules: Mapping[str, Any] | None) -> None:
    """Raise ``InvalidInput`` where the class could not be computed with these rules for teams."""
    document = class_document(competition_class) | {"entries": [], "teams": rules}
    try:
        scoring.read_class(document)
    except scoring.InvalidDocument as error:
        problems = [(found.path, found.message) for found in error.problems if found.path.startswith("teams")]
        if problems:
            raise InvalidInput("The rule for teams needs correcting.", problems=problems) from error
