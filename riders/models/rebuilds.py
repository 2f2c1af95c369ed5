from __future__ import annotations

from django.db import models
from django.db.models import Q

from riders.models.work import QueuedWork


class StandingsRebuild(QueuedWork):
    """The standings of a season worked out anew as a whole, beside those that are shown until they are complete.

    With ``scheme`` the season counts by that one from then on, for the ``reason`` given. ``touched`` holds the pairs
    whose scores changed while it ran: their units are worked out once more before the new standings are shown;
    ``again`` says that everything changed meanwhile.
    """

    season = models.ForeignKey("riders.Season", on_delete=models.CASCADE, related_name="rebuilds")
    scheme = models.ForeignKey("riders.Scheme", on_delete=models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    touched = models.JSONField(default=list)
    again = models.BooleanField(default=False)

    class Meta(QueuedWork.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(
                fields=["season"], condition=Q(state__in=["queued", "running"]), name="rebuild_of_a_season_once"
            ),
        ]
