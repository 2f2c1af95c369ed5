"""What has been done to the ledger and its people so far, as a mark to compare: work done before a lock is still good.

Everything that a file of scores is compared with leaves a row behind when it changes: scores, names, merges,
decisions, memberships, and new riders, horses and pairs. So the highest row numbers, with how many merges and decisions
are undone, stand for all of it.
"""

from __future__ import annotations

from django.db.models import Max

from riders.models import (
    AssociationRole,
    Horse,
    Membership,
    MembershipChange,
    Merge,
    NameChange,
    NameDecision,
    Pair,
    Rider,
    Score,
    ScoreChange,
    Season,
)

_MODELS = (
    Score,
    ScoreChange,
    Rider,
    Horse,
    Pair,
    Merge,
    NameChange,
    NameDecision,
    Membership,
    MembershipChange,
    Season,
    AssociationRole,
)

Mark = tuple[int, ...]


def ledger_mark() -> Mark:
    """Return the mark of the ledger as it stands; the same mark means that nothing was changed between the two."""
    highest = [model._default_manager.aggregate(most=Max("pk"))["most"] or 0 for model in _MODELS]  # noqa: SLF001
    undone = [model._default_manager.filter(undone_at__isnull=False).count() for model in (Merge, NameDecision)]  # noqa: SLF001
    return (*highest, *undone)
