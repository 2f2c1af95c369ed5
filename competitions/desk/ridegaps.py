"""Riders with two rides close to one another, over all classes of a competition."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from competitions.models import Competition, CompetitionClass, Entry

SAME_HORSE = timedelta(minutes=30)
OTHER_HORSE = timedelta(minutes=40)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortChange:
    """Two rides of one rider with less than the usual time between them; times are local."""

    rider: str
    earlier: Entry
    later: Entry
    earlier_at: datetime
    later_at: datetime
    minutes: int

    @property
    def sentence(self) -> str:
        horse = (
            "on the same horse" if self.earlier.pair.horse_id == self.later.pair.horse_id else "with a change of horse"
        )
        return (
            f"{self.rider} rides number {self.earlier.number} in class {self.earlier.competition_class.number} at "
            f"{self.earlier_at:%H:%M} and number {self.later.number} in class {self.later.competition_class.number} at "
            f"{self.later_at:%H:%M}: {self.minutes} minutes from start to start, {horse}."
        )


def short_changes(competition: Competition, *, cls: CompetitionClass | None = None) -> list[ShortChange]:
    """Return the pairs of rides that follow too closely: under 30 minutes on one horse, under 40 on another.

    From start to start, so that the test itself and the warming up lie in between; common practice. With ``cls`` those
    alone of which one ride at least is in that class.
    """
    entries = (
        Entry.objects.filter(competition_class__competition=competition, ride_time__isnull=False)
        .exclude(status__in=[Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW])
        .select_related("pair__rider", "pair__horse", "competition_class")
        .order_by("pair__rider_id", "ride_time", "pk")
    )
    if cls is not None:
        entries = entries.filter(pair__rider__in=cls.entries.order_by().values("pair__rider"))
    found = []
    previous: Entry | None = None
    for entry in entries:
        if previous is not None and previous.pair.rider_id == entry.pair.rider_id:
            before, after = previous.ride_time, entry.ride_time
            assert before is not None  # noqa: S101 - the query asks for it
            assert after is not None  # noqa: S101 - as above
            gap = after - before
            least = SAME_HORSE if previous.pair.horse_id == entry.pair.horse_id else OTHER_HORSE
            if gap < least and (cls is None or cls.pk in {previous.competition_class_id, entry.competition_class_id}):
                found.append(
                    ShortChange(
                        rider=entry.pair.rider.name,
                        earlier=previous,
                        later=entry,
                        earlier_at=before.astimezone(competition.zone),
                        later_at=after.astimezone(competition.zone),
                        minutes=int(gap.total_seconds() // 60),
                    )
                )
        previous = entry
    return sorted(found, key=lambda change: (change.earlier_at, change.rider, change.later.pk))
