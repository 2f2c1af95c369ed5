"""What is kept of season rules besides the rules themselves: drafts, who saved which version, and changes of scheme."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from riders.models.fields import DocumentField


class SchemeDraft(models.Model):
    """A season rule that one person is still writing for an association; it counts nowhere.

    ``key`` is the id that the rule has or will have. ``based_on`` is the version that was opened, none for a rule from
    nothing. ``document`` may have problems: nothing typed is lost. ``version`` counts what was kept, so that a second
    window of the same person overwrites nothing unseen.
    """

    association = models.ForeignKey("riders.Association", on_delete=models.CASCADE, related_name="scheme_drafts")
    by = models.ForeignKey("riders.User", on_delete=models.CASCADE, related_name="scheme_drafts")
    key = models.CharField(max_length=80)
    based_on = models.ForeignKey("riders.Scheme", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    document = DocumentField()
    version = models.PositiveIntegerField(default=1)
    kept_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-kept_at", "-id"]
        constraints = [models.UniqueConstraint(fields=["by", "association", "key"], name="scheme_draft_once")]

    def __str__(self) -> str:
        return f"{self.key}, a draft"


class SchemeChange(models.Model):
    """Who saved a version of a scheme, when, for which association and why. Rows are only ever added."""

    scheme = models.OneToOneField("riders.Scheme", on_delete=models.PROTECT, related_name="change")
    association = models.ForeignKey(
        "riders.Association", on_delete=models.SET_NULL, null=True, blank=True, related_name="scheme_changes"
    )
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]


class SeasonSchemeChange(models.Model):
    """A season was given another scheme or version: from which to which, who, when and why. Rows are only added."""

    season = models.ForeignKey("riders.Season", on_delete=models.CASCADE, related_name="scheme_changes")
    before = models.ForeignKey("riders.Scheme", on_delete=models.PROTECT, related_name="+")
    after = models.ForeignKey("riders.Scheme", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ["season", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(before=F("after")), name="season_scheme_change_changes"),
            models.CheckConstraint(condition=~Q(reason=""), name="season_scheme_change_has_a_reason"),
        ]
