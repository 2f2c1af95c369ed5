"""What has been done to the ledger and its people so far, as a mark to compare: work done before a lock is still good.

Everything that a file of scores is compared with leaves a row behind when it changes: scores, names, merges,
decisions, memberships, and new riders, horses and pairs. So the highest row numbers, with how many merges and decisions
are undone, stand for all of it; registrations and years of birth, which an office fills in, are counted.
"""

from __future__ import annotations

from django.db import connection

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

_UNDONE = (Merge, NameDecision)

Mark = tuple[int, ...]


_PARTS = (
    *(f"SELECT MAX(id) FROM {model._meta.db_table}" for model in _MODELS),  # noqa: S608, SLF001
    *(f"SELECT COUNT(*) FROM {model._meta.db_table} WHERE undone_at IS NOT NULL" for model in _UNDONE),  # noqa: S608, SLF001
    *(f"SELECT COUNT(*) FROM {model._meta.db_table} WHERE registration <> ''" for model in (Rider, Horse)),  # noqa: S608, SLF001
    f"SELECT COUNT(born) FROM {Horse._meta.db_table}",  # noqa: S608, SLF001
)
_MARK = f"SELECT {', '.join(f'COALESCE(({part}), 0)' for part in _PARTS)}"


def ledger_mark() -> Mark:
    """Return the mark of the ledger as it stands; the same mark means that nothing was changed between the two."""
    with connection.cursor() as cursor:
        cursor.execute(_MARK)
        return tuple(cursor.fetchone())
