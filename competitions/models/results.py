from __future__ import annotations

from django.db import models

from riders.models.fields import DocumentField


class ClassResults(models.Model):
    """The results of a class as last computed: ``document`` is ``results/1``, ``class_document`` what it came from."""

    competition_class = models.OneToOneField(
        "competitions.CompetitionClass", on_delete=models.CASCADE, primary_key=True, related_name="results"
    )
    version = models.PositiveIntegerField(help_text="Version of the class these results show.")
    document = DocumentField()
    problem = models.TextField(blank=True, help_text="Why the class could not be computed; empty when it could.")


class ResultRow(models.Model):
    """One entry's line of the current results."""

    entry = models.OneToOneField(
        "competitions.Entry", on_delete=models.CASCADE, primary_key=True, related_name="result"
    )
    position = models.PositiveIntegerField(help_text="Position in the list as published.")
    placing = models.PositiveIntegerField(null=True)
    shared = models.BooleanField(default=False)
    total = models.CharField(max_length=20, blank=True)
    document = DocumentField()

    class Meta:
        ordering = ["position", "entry"]


class PublishedResults(models.Model):
    """Official results, frozen: a correction is the next revision, and the one before stays readable."""

    competition_class = models.ForeignKey(
        "competitions.CompetitionClass", on_delete=models.PROTECT, related_name="published"
    )
    revision = models.PositiveIntegerField()
    version = models.PositiveIntegerField(help_text="Version of the class that became official.")
    class_document = DocumentField()
    document = DocumentField()
    published_at = models.DateTimeField(auto_now_add=True)
    published_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["competition_class", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["competition_class", "revision"], name="official_revision_once"),
        ]
