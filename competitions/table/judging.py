"""A judge's own view: the days to come and gone, sheets to finish, and how their marks compare with the panels'."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Q

from competitions import policy
from competitions.models import CompetitionClass, Entry, PanelSeat
from competitions.selectors.comparison import PanelComparison, panel_comparison
from riders.models import User

_COMPARED = 20
_UNFINISHED = 60
_NOT_RIDING = (Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW)


@dataclass(frozen=True, slots=True)
class Compared:
    seat: PanelSeat
    comparison: PanelComparison


def seats_to_finish(user: User) -> list[PanelSeat]:
    """Return the judge's seats in classes that are open, with how many sheets are signed of how many rides.

    A seat on which every ride's sheet is signed is done; the others come by day.
    """
    open_class = ~Q(competition_class__results_state=CompetitionClass.ResultsState.OFFICIAL) | ~Q(
        competition_class__correction_reason=""
    )
    seats = (
        policy.seats_of(user)
        .filter(open_class)
        .select_related("competition_class__competition")
        .annotate(
            begun=Count("sheets", distinct=True),
            signed=Count("sheets", filter=Q(sheets__signed=True), distinct=True),
            rides=Count(
                "competition_class__entries",
                filter=~Q(competition_class__entries__status__in=_NOT_RIDING),
                distinct=True,
            ),
        )
        .order_by("competition_class__date", "competition_class__starts_at", "competition_class__number", "pk")
    )
    return [seat for seat in seats[:_UNFINISHED] if seat.signed < seat.rides]


def compared_seats(user: User) -> list[Compared]:
    """Return the judge's latest classes with official results, each with its comparison."""
    seats = (
        policy.seats_of(user)
        .filter(
            competition_class__results_state=CompetitionClass.ResultsState.OFFICIAL,
            competition_class__correction_reason="",
        )
        .select_related("judge", "competition_class__competition", "competition_class__test")
        .order_by("-competition_class__date", "-competition_class__starts_at", "-pk")
    )
    return list(_compared(seats[:_COMPARED]))


def _compared(seats: Iterable[PanelSeat]) -> Iterable[Compared]:
    for seat in seats:
        yield Compared(seat, panel_comparison(seat))
