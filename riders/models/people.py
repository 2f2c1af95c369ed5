from __future__ import annotations

from django.db import models
from django.db.models import Case, F, GeneratedField, Q, Value
from django.db.models.functions import Concat


class Owner(models.Model):
    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


def _apart() -> models.CharField[str, str]:
    return models.CharField(
        max_length=40, blank=True, default="", help_text="What tells them from an earlier one of the same name."
    )


def _listed() -> GeneratedField:
    """Return the name under which seasons know someone: two of one name have rows of their own."""
    marked = Concat(F("name"), Value(" ("), F("apart"), Value(")"))
    return GeneratedField(
        expression=Case(models.When(apart="", then=F("name")), default=marked),
        output_field=models.CharField(max_length=164),
        db_persist=True,
        db_index=True,
    )


class Rider(models.Model):
    """A person who rides. Contact data are for the rider, the offices that entered them and staff; never public."""

    name = models.CharField(max_length=120)
    apart = _apart()
    listed = _listed()
    registration = models.CharField(
        max_length=40, blank=True, help_text="Number that identifies this person across shows."
    )
    email = models.EmailField(blank=True)
    user = models.OneToOneField("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="rider")

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["registration"], condition=~Q(registration=""), name="rider_registration_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Horse(models.Model):
    name = models.CharField(max_length=120)
    apart = _apart()
    listed = _listed()
    registration = models.CharField(
        max_length=40, blank=True, help_text="Number that identifies this horse across shows."
    )
    born = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Year of birth.")
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, null=True, blank=True, related_name="horses")

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["registration"], condition=~Q(registration=""), name="horse_registration_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Pair(models.Model):
    """One rider with one horse. ``key`` names the pair in documents: registrations where both have one."""

    key = models.CharField(max_length=90, unique=True)
    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="pairs")
    horse = models.ForeignKey(Horse, on_delete=models.PROTECT, related_name="pairs")

    class Meta:
        ordering = ["rider__name", "horse__name", "id"]
        constraints = [models.UniqueConstraint(fields=["rider", "horse"], name="pair_once")]

    def __str__(self) -> str:
        return f"{self.rider.name} with {self.horse.name}"
