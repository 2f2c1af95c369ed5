"""The version of a class: the clock of everything that is shown of it, and the lock that its changes are made under."""

from __future__ import annotations

from django.db.models import F
from django.db.transaction import on_commit
from django.utils import timezone

from competitions.models import CompetitionClass
from competitions.selectors.versions import forget_version
from riders.errors import NotAllowed


def lock_class(class_id: int) -> CompetitionClass:
    """Return the class, locked for the rest of the transaction (on SQLite the writers' queue has done that already)."""
    return (
        CompetitionClass.objects.select_for_update(of=("self",))
        .select_related("competition", "test", "rule_set")
        .get(pk=class_id)
    )


def lock_open_class(class_id: int) -> CompetitionClass:
    """Return the class locked, or refuse where its results are official and no correction is under way."""
    competition_class = lock_class(class_id)
    if not competition_class.open_for_changes:
        raise NotAllowed(
            f"The results of class {competition_class.number} are official. Start a correction with a reason, "
            "then change what is wrong.",
            code="results-official",
        )
    return competition_class


def raise_version(competition_class: CompetitionClass) -> int:
    """Move the clock of a class on by one; every change that can be seen does this once."""
    CompetitionClass.objects.filter(pk=competition_class.pk).update(version=F("version") + 1, changed_at=timezone.now())
    competition_class.refresh_from_db(fields=["version", "changed_at"])
    class_id = competition_class.pk
    on_commit(lambda: forget_version(class_id))
    return competition_class.version
