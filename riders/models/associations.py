from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from riders.models.fields import DocumentField
from riders.models.standings import StandingRow


class Association(models.Model):
    slug = models.SlugField(max_length=60, unique=True)
    title = models.CharField(max_length=160)

    class Meta:
        ordering = ["title", "id"]

    def __str__(self) -> str:
        return self.title


class Membership(models.Model):
    """A person or horse belongs to an association from one day to another, both included; ``ends_on`` null is open."""

    class Kind(models.TextChoices):
        PERSON = "person", "person"
        HORSE = "horse", "horse"

    association = models.ForeignKey(Association, on_delete=models.CASCADE, related_name="memberships")
    number = models.CharField(max_length=40)
    kind = models.CharField(max_length=6, choices=Kind.choices)
    rider = models.ForeignKey(
        "riders.Rider", on_delete=models.CASCADE, null=True, blank=True, related_name="memberships"
    )
    horse = models.ForeignKey(
        "riders.Horse", on_delete=models.CASCADE, null=True, blank=True, related_name="memberships"
    )
    division = models.CharField(max_length=60, blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["association", "number", "starts_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["association", "number", "starts_on"], name="membership_once"),
            models.CheckConstraint(
                condition=Q(kind="person", rider__isnull=False, horse__isnull=True)
                | Q(kind="horse", rider__isnull=True, horse__isnull=False),
                name="membership_of_a_person_or_a_horse",
            ),
            models.CheckConstraint(
                condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")), name="membership_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.rider or self.horse}"


class Scheme(models.Model):
    """A season rule as a ``scheme/1`` document; a version is never edited, a change is the next version."""

    key = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    title = models.CharField(max_length=200)
    document = DocumentField()

    class Meta:
        ordering = ["key", "-version"]
        constraints = [models.UniqueConstraint(fields=["key", "version"], name="scheme_version_once")]

    def __str__(self) -> str:
        return f"{self.title} (version {self.version})"


class Season(models.Model):
    """One association's counting of one year by one scheme."""

    association = models.ForeignKey(Association, on_delete=models.CASCADE, related_name="seasons")
    slug = models.SlugField(max_length=40)
    title = models.CharField(max_length=120)
    starts_on = models.DateField()
    ends_on = models.DateField()
    scheme = models.ForeignKey(Scheme, on_delete=models.PROTECT, related_name="seasons")
    closed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=0, help_text="Raised whenever its standings change.")
    computed_at = models.DateTimeField(null=True, blank=True)
    stands_on = models.DateField(
        null=True, blank=True, help_text="The day that rolling standings count back from; null for fixed days."
    )

    reads_from = models.DateField(
        null=True,
        blank=True,
        help_text="The first day whose rides its scheme can count, where that is before the season starts.",
    )

    class Meta:
        ordering = ["association", "-starts_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["association", "slug"], name="season_once"),
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="season_ends_after_start"),
        ]

    def __str__(self) -> str:
        return f"{self.association.title}: {self.title}"

    @property
    def rows(self) -> models.QuerySet[StandingRow]:
        """The rows of its standings that are shown, table by table in their order."""
        return StandingRow.objects.filter(table__season=self)
