from __future__ import annotations

from zoneinfo import ZoneInfo

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from competitions.models.keyings import SecondKeyingMode

_plain_limit = RegexValidator(
    r"\A[0-9]{1,3}(\.[0-9]{1,3})?\Z", "Give a limit such as 5 or 2.5, or leave it empty for none."
)


class Competition(models.Model):
    """A show: one organiser, one venue, some days. Only a published one is seen outside its office."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        PUBLISHED = "published", "published"
        CLOSED = "closed", "closed"

    slug = models.SlugField(max_length=60, unique=True)
    title = models.CharField(max_length=160)
    venue = models.CharField(max_length=160)
    organiser = models.CharField(max_length=160, blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField()
    time_zone = models.CharField(max_length=60, default="UTC")
    state = models.CharField(max_length=9, choices=State.choices, default=State.PLANNED)
    association = models.ForeignKey(
        "riders.Association", on_delete=models.PROTECT, null=True, blank=True, related_name="competitions"
    )
    recognised = models.BooleanField(default=False, help_text="Scores count for the association's seasons.")
    seat_limit = models.CharField(
        max_length=8,
        blank=True,
        default="5",
        validators=[_plain_limit],
        help_text="Seats whose percentages on one ride differ by more percentage points are looked at before results "
        "become official; empty is never.",
    )
    movement_limit = models.CharField(
        max_length=8,
        blank=True,
        default="2",
        validators=[_plain_limit],
        help_text="Seats whose marks for one movement differ by more are looked at before results become official; "
        "empty is never.",
    )
    sheets_signed = models.BooleanField(
        default=False, help_text="Every sheet has to carry the judge's signature before results become official."
    )
    second_keying = models.CharField(
        max_length=6,
        choices=SecondKeyingMode.choices,
        default=SecondKeyingMode.OFF,
        help_text="Which sheets of paper are keyed a second time by another person, where a class says nothing else.",
    )
    second_keying_remarks = models.BooleanField(
        default=False, help_text="The second keying reads the remarks too, and they are compared."
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-starts_on", "title", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="competition_ends_after_start"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class OfficeRole(models.Model):
    """Someone who works in the show office of one competition."""

    user = models.ForeignKey("riders.User", on_delete=models.CASCADE, related_name="office_roles")
    competition = models.ForeignKey(Competition, on_delete=models.CASCADE, related_name="office_roles")

    class Meta:
        ordering = ["competition", "user"]
        constraints = [models.UniqueConstraint(fields=["user", "competition"], name="office_role_once")]


class Judge(models.Model):
    name = models.CharField(max_length=120, unique=True)
    grade = models.CharField(max_length=80, blank=True)
    user = models.OneToOneField("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="judge")

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


class CompetitionChange(models.Model):
    """What was changed about a competition, when, by whom, and what stood there before. Rows are only ever added."""

    competition = models.ForeignKey(Competition, on_delete=models.CASCADE, related_name="changes")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    before = models.JSONField(null=True)
    after = models.JSONField()

    class Meta:
        ordering = ["competition", "id"]
