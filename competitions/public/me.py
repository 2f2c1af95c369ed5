"""A person's own page: what they ride, judge, run and keep."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.contrib.auth.decorators import login_required
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from competitions import policy
from competitions.models import Competition, Entry, PanelSeat, Sheet
from riders import policy as riders_policy
from riders.models import ApiToken, Pair, Rider
from riders.pages.seasons import missing_sentences
from riders.policy import Visitor
from riders.selectors.places import PlacedRow, placed_rows
from riders.selectors.units import rows_about

_RELEASED_SHOWN = 30
_COMING_SHOWN = 30


@dataclass(slots=True)
class PairCard:
    """One of the rider's pairs with its rows of the standings, each with what it still lacks.

    A card of ``every_horse`` holds the rows of seasons that rank riders; its pair is any of theirs.
    """

    pair: Pair
    every_horse: bool = False
    rows: list[tuple[PlacedRow, dict[str, int], tuple[str, ...]]] = field(default_factory=list)


@never_cache
@login_required
@require_safe
def my_page(request: HttpRequest) -> HttpResponse:
    user = request.user
    context: dict[str, Any] = {
        "tokens": riders_policy.visible(user, ApiToken.objects.filter(revoked_at=None)).count(),
        "offices": _offices(user),
        "panels": _panels(user),
        "associations": riders_policy.associations_of(user).prefetch_related("seasons"),
    }
    rider = Rider.objects.filter(user=user.pk).first()
    if rider is not None:
        context |= {
            "rider": rider,
            "cards": _cards(rider),
            "rides": _rides_to_come(user, rider),
            "released": _released(user, rider),
        }
    return render(request, "competitions/me.html", context)


def _cards(rider: Rider) -> list[PairCard]:
    cards = {pair.pk: PairCard(pair) for pair in Pair.objects.filter(rider=rider).select_related("rider", "horse")}
    if not cards:
        return []
    rows = (
        rows_about([card.pair for card in cards.values()])
        .select_related("table__season__association")
        .order_by("-table__season__starts_on", "table__season", "table__number")
    )
    together = PairCard(next(iter(cards.values())).pair, every_horse=True)
    by_horse = {card.pair.horse.name: card for card in cards.values()}
    for row in placed_rows(rows):
        card = together if row.unit == rider.name else by_horse.get(row.unit)
        if row.pair_id is not None:
            card = cards[row.pair_id]
        if card is not None:
            card.rows.append((row, row.outcomes, missing_sentences(row)))
    return [*([together] if together.rows else []), *cards.values()]


def _rides_to_come(user: Visitor, rider: Rider) -> list[Entry]:
    entries = policy.visible(
        user,
        Entry.objects.filter(
            pair__rider=rider,
            status=Entry.Status.ENTERED,
            competition_class__date__gte=timezone.now().date() - timedelta(days=1),
        ),
    )
    return list(
        entries.select_related("competition_class__competition", "pair__horse").order_by(
            "competition_class__date", "ride_time", "pk"
        )[:_COMING_SHOWN]
    )


def _released(user: Visitor, rider: Rider) -> list[Entry]:
    """Return the rider's entries whose sheets they may read, the latest first."""
    sheets = policy.visible(user, Sheet.objects.filter(entry__pair__rider=rider))
    return list(
        Entry.objects.filter(pk__in=sheets.values("entry"))
        .select_related("competition_class__competition", "pair__horse", "result")
        .order_by("-competition_class__date", "-pk")[:_RELEASED_SHOWN]
    )


def _panels(user: Visitor) -> list[PanelSeat]:
    """Return the judge's seats with how many sheets of each are signed and how many rides there are."""
    return list(
        policy.seats_of(user)
        .select_related("competition_class__competition")
        .annotate(
            signed=Count("sheets", filter=Q(sheets__signed=True), distinct=True),
            rides=Count(
                "competition_class__entries",
                filter=~Q(competition_class__entries__status__in=[Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW]),
                distinct=True,
            ),
        )
        .order_by("-competition_class__date", "competition_class__starts_at", "pk")[:_COMING_SHOWN]
    )


def _offices(user: Visitor) -> list[Competition]:
    return list(policy.office_competitions(user).order_by("-starts_on", "title", "pk")[:_COMING_SHOWN])
