"""The days on which someone writes sheets, and the one that is meant when nobody says which."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Q, QuerySet

from competitions import policy
from competitions.models import Competition, CompetitionClass, PanelSeat
from riders.models import User

_DAYS_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Day:
    competition: Competition
    date: date
    classes: tuple[CompetitionClass, ...]


def seats_to_write(user: User) -> QuerySet[PanelSeat]:
    """Return the seats whose sheets this person may open at the table: their own as a judge, all as the office."""
    in_office = Q(competition_class__competition__in=policy.office_competitions(user).values("pk"))
    return PanelSeat.objects.filter(in_office | Q(pk__in=policy.seats_of(user).values("pk")))


def seats_of_day(user: User, classes: Iterable[CompetitionClass]) -> list[PanelSeat]:
    """Return the seats to show for one day: a judge's own, and to an office that judges nothing that day every seat."""
    seats = list(
        seats_to_write(user)
        .filter(competition_class__in=list(classes))
        .select_related("judge", "competition_class")
        .order_by("order", "seat", "pk")
    )
    own = [seat for seat in seats if seat.judge and seat.judge.user_id == user.pk]
    return own or seats


def days_of(user: User) -> list[Day]:
    """Return the person's days, the latest first."""
    classes = (
        CompetitionClass.objects.filter(seats__in=seats_to_write(user))
        .select_related("competition")
        .order_by("-date", "competition__slug", "starts_at", "number", "pk")
        .distinct()
    )
    days: dict[tuple[int, date], list[CompetitionClass]] = {}
    for cls in classes[: _DAYS_SHOWN * 10]:
        days.setdefault((cls.competition_id, cls.date), []).append(cls)
    found = [Day(members[0].competition, day, tuple(members)) for (_, day), members in days.items()]
    return found[:_DAYS_SHOWN]


def current_days(days: Sequence[Day], *, now: datetime) -> list[Day]:
    """Return today's; without any the next ones to come, and after the last the last ones."""
    today = [day for day in days if day.date == now.astimezone(day.competition.zone).date()]
    if today or not days:
        return today
    coming = [day for day in days if day.date > now.astimezone(day.competition.zone).date()]
    wanted = min(day.date for day in coming) if coming else max(day.date for day in days)
    return [day for day in days if day.date == wanted]


def days_document(user: User, *, now: datetime) -> dict[str, Any]:
    days = days_of(user)
    current = current_days(days, now=now)
    return {
        "user": {"id": user.pk, "name": str(user)},
        "days": [
            {
                "slug": day.competition.slug,
                "title": day.competition.title,
                "date": day.date.isoformat(),
                "classes": [cls.number for cls in day.classes],
                "current": day in current,
            }
            for day in days
        ],
    }
