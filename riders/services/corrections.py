"""Single rows of the ledger corrected, retracted and put back in force by those who keep it, each with a reason.

Only imported rows: what a class run here has posted follows its class, and is corrected there.
"""

from __future__ import annotations

from collections.abc import Mapping

from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.intake import reason_from
from riders.models import Score, ScoreChange, User
from riders.selectors.ledger import COLUMNS, score_record
from riders.services.ledger import post_scores, retract_scores
from riders.services.ledger_import import read_row
from riders.transactions import take_ledger_turn, write_transaction

FIXED = ("score_id", "rider", "horse")
"""What a correction cannot change: the origin, and the names, which are the pair's."""

CORRECTABLE = tuple(name for name in COLUMNS if name not in FIXED)


def version_of(score: Score) -> int:
    """Return the number of the last thing that was done to a score: what a correction names that it was made from."""
    return ScoreChange.objects.filter(score=score).order_by("-pk").values_list("pk", flat=True).first() or 0


def correct_score(
    score: Score, *, changes: Mapping[str, str], expected_version: int, by: User | None, reason: str
) -> Score:
    """Give a score other values, as text under the names of ``scores/1``; a retracted one is in force again.

    ``pair`` names another pair by its key. Raises ``InvalidInput`` with a problem under each field, ``Conflict`` where
    someone else has changed the score meanwhile. Standings of the touched seasons are worked out anew.
    """
    reason = reason_from(reason)
    with write_transaction():
        take_ledger_turn()
        current = _current(score, expected_version)
        strange = [name for name in changes if name not in CORRECTABLE]
        if strange:
            sentence = f"{strange[0][:40]!r} cannot be corrected. What can: {', '.join(CORRECTABLE)}."
            raise InvalidInput(sentence, problems=[(strange[0][:40], sentence)])
        row, problems = read_row({**score_record(current), **changes}, pair=current.pair)
        if row is None:
            raise InvalidInput("The score was not corrected. Look at the fields that are named.", problems=problems)
        done = post_scores([row], by=by, reason=reason)
    if done.unchanged:
        raise InvalidInput("Nothing was changed: the score says that already.", code="nothing-changed")
    score.refresh_from_db()
    return score


def retract_score(score: Score, *, expected_version: int, by: User | None, reason: str) -> Score:
    """Take a score out of force; it and its history stay readable, and it can be put back in force."""
    reason = reason_from(reason)
    with write_transaction():
        take_ledger_turn()
        current = _current(score, expected_version)
        if current.retracted_at is not None:
            raise NotAllowed("The score is retracted already.", code="score-retracted")
        retract_scores([current.key], by=by, reason=reason)
    score.refresh_from_db()
    return score


def put_back_score(score: Score, *, expected_version: int, by: User | None, reason: str) -> Score:
    """Put a retracted score back in force as it was."""
    if score.retracted_at is None:
        raise NotAllowed("The score is in force already.", code="score-in-force")
    return correct_score(score, changes={}, expected_version=expected_version, by=by, reason=reason)


def _current(score: Score, expected_version: int) -> Score:
    current = (
        Score.objects.select_for_update(of=("self",)).select_related("pair__rider", "pair__horse").get(pk=score.pk)
    )
    if current.source != Score.Source.IMPORT:
        raise NotAllowed(
            "This score comes from a class that was run here. Correct it in the class: its office starts a correction.",
            code="score-of-a-class",
        )
    if version_of(current) != expected_version:
        raise Conflict(
            "The score was changed by someone else since you opened it. Look at it again, then correct it.",
            current=current,
        )
    return current
