from __future__ import annotations

from django.db import models
from django.db.models import Q

from competitions.models.keyings import SecondKeyingMode
from riders.models.fields import DocumentField


class Test(models.Model):
    """A test sheet as a ``test/1`` document; the columns repeat what lists show."""

    __test__ = False  # pytest would take the trade's word for one of its own

    key = models.CharField(max_length=120, unique=True)
    title = models.CharField(max_length=200)
    level = models.CharField(max_length=60, blank=True)
    document = DocumentField()

    class Meta:
        ordering = ["title", "id"]

    def __str__(self) -> str:
        return self.title


class RuleSet(models.Model):
    """How marks become placings, as a ``rules/1`` document."""

    key = models.CharField(max_length=120, unique=True)
    title = models.CharField(max_length=200)
    document = DocumentField()

    class Meta:
        ordering = ["title", "id"]

    def __str__(self) -> str:
        return self.title


class CompetitionClass(models.Model):
    """One test ridden by a list of entries, judged and placed together.

    ``version`` is the clock of everything that is shown of the class: it rises by one with every change. Marks, entries
    and outcomes can be changed while results are provisional, withdrawn, or official with ``correction_reason`` given.
    """

    class ResultsState(models.TextChoices):
        PROVISIONAL = "provisional", "provisional"
        OFFICIAL = "official", "official"
        WITHDRAWN = "withdrawn", "withdrawn"

    competition = models.ForeignKey("competitions.Competition", on_delete=models.CASCADE, related_name="classes")
    number = models.CharField(max_length=10)
    title = models.CharField(max_length=160)
    level = models.CharField(max_length=60, blank=True)
    division = models.CharField(max_length=60, blank=True)
    test = models.ForeignKey(Test, on_delete=models.PROTECT, related_name="classes")
    rule_set = models.ForeignKey(RuleSet, on_delete=models.PROTECT, related_name="classes")
    arena = models.CharField(max_length=40, blank=True)
    date = models.DateField()
    starts_at = models.TimeField(null=True, blank=True)
    interval_seconds = models.PositiveIntegerField(default=480)
    breaks = models.JSONField(default=list, blank=True, help_text='[{"after": 8, "minutes": 15}], counted in rides.')
    from_recordings = models.BooleanField(
        default=False, help_text="The rides are judged from recordings, not at the arena."
    )
    in_ring = models.ForeignKey(
        "competitions.Entry", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    team_rules = DocumentField(
        null=True, blank=True, help_text='The "teams" of class/1; null where the class has no teams.'
    )
    second_keying = models.CharField(
        max_length=6,
        choices=SecondKeyingMode.choices,
        blank=True,
        help_text="Which sheets of paper are keyed a second time; empty is as the competition says.",
    )
    results_state = models.CharField(max_length=11, choices=ResultsState.choices, default=ResultsState.PROVISIONAL)
    correction_reason = models.CharField(max_length=300, blank=True)
    revision = models.PositiveIntegerField(
        default=0, help_text="Number of the last official results; 0 before the first."
    )
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["competition", "date", "starts_at", "number", "id"]
        constraints = [
            models.UniqueConstraint(fields=["competition", "number"], name="class_number_once_in_a_competition"),
            models.CheckConstraint(
                condition=Q(interval_seconds__gte=60) & Q(interval_seconds__lte=7200), name="class_interval_in_bounds"
            ),
        ]

    def __str__(self) -> str:
        return f"Class {self.number}: {self.title}"

    @property
    def open_for_changes(self) -> bool:
        return self.results_state != self.ResultsState.OFFICIAL or bool(self.correction_reason)


class PanelSeat(models.Model):
    """A judge's place on the panel of a class, named by its letter; ``order`` is the order of columns."""

    competition_class = models.ForeignKey(CompetitionClass, on_delete=models.CASCADE, related_name="seats")
    seat = models.CharField(max_length=10)
    order = models.PositiveSmallIntegerField(default=0)
    judge = models.ForeignKey(
        "competitions.Judge", on_delete=models.PROTECT, null=True, blank=True, related_name="seats"
    )
    parts = models.JSONField(default=list, blank=True, help_text="Parts of the test this seat marks; empty means all.")

    class Meta:
        ordering = ["competition_class", "order", "seat"]
        constraints = [
            models.UniqueConstraint(fields=["competition_class", "seat"], name="seat_once_in_a_class"),
        ]

    def __str__(self) -> str:
        return f"{self.seat} {self.judge.name}" if self.judge else self.seat


class ClassChange(models.Model):
    """What was done to a class, when, by whom, why, and what stood there before. Rows are only ever added."""

    competition_class = models.ForeignKey(CompetitionClass, on_delete=models.CASCADE, related_name="changes")
    action = models.CharField(max_length=40)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        ordering = ["competition_class", "id"]
