from __future__ import annotations

from django.db import models

from riders.models.fields import DocumentField


class Championship(models.Model):
    """A placing over several classes of a competition.

    ``document`` holds the rule, as ``championship/1`` without its classes and without ``names``.
    """

    competition = models.ForeignKey("competitions.Competition", on_delete=models.CASCADE, related_name="championships")
    slug = models.SlugField(max_length=60)
    title = models.CharField(max_length=160)
    document = DocumentField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["competition", "title", "id"]
        constraints = [models.UniqueConstraint(fields=["competition", "slug"], name="championship_once")]

    def __str__(self) -> str:
        return self.title


class ChampionshipClass(models.Model):
    """One class of a championship; ``order`` is that in which the classes are ridden, from 1."""

    championship = models.ForeignKey(Championship, on_delete=models.CASCADE, related_name="parts")
    competition_class = models.ForeignKey(
        "competitions.CompetitionClass", on_delete=models.PROTECT, related_name="championship_parts"
    )
    order = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["championship", "order"]
        constraints = [
            models.UniqueConstraint(fields=["championship", "competition_class"], name="championship_class_once"),
            models.UniqueConstraint(fields=["championship", "order"], name="championship_order_once"),
        ]


class ChampionshipChange(models.Model):
    """What was done to a championship, when, by whom, why, and what stood there before. Rows are only ever added.

    It hangs on the competition and names the championship by its slug, so that it outlives one that is deleted.
    """

    competition = models.ForeignKey(
        "competitions.Competition", on_delete=models.CASCADE, related_name="championship_changes"
    )
    slug = models.SlugField(max_length=60)
    action = models.CharField(max_length=40)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        ordering = ["competition", "slug", "id"]
