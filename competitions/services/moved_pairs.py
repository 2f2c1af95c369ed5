"""What a merge of riders, horses or pairs means here: nobody rides a class twice, and boards are shown anew."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from django.db.models import F

from competitions.models import CompetitionClass, Entry
from competitions.services.clock import raise_version


class MovedPairs:
    """Follows merges for the entries of this room (``riders.services.followers``)."""

    def conflicts(self, kept: Collection[int], gone: Collection[int]) -> Iterator[str]:
        entered = Entry.objects.select_related("competition_class__competition")
        own = {entry.competition_class_id: entry for entry in entered.filter(pair__in=kept)}
        for entry in entered.filter(pair__in=gone, competition_class__in=list(own)).order_by("competition_class", "pk"):
            yield (
                f"Both are entered in class {entry.competition_class.number} of "
                f"{entry.competition_class.competition.title} (numbers {own[entry.competition_class_id].number} and "
                f"{entry.number}). Take one of the entries out, or give it to another pair, first."
            )

    def moved(self, pairs: Collection[int]) -> None:
        """Raise the version of each entry and class that shows one of these pairs."""
        entries = Entry.objects.filter(pair__in=pairs)
        classes = list(CompetitionClass.objects.filter(pk__in=entries.values("competition_class")).order_by("pk"))
        entries.update(version=F("version") + 1)
        for competition_class in classes:
            raise_version(competition_class)
