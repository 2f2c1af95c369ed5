"""One pair's history of official scores: the public part, figures only."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from riders import policy
from riders.models import Pair, Score, Season
from riders.selectors.places import PlacedRow, placed_rows
from riders.selectors.titles import give_titles
from riders.selectors.units import rows_about

SCORES_ON_A_PAGE = 50
_ORIGIN_PARTS = 3


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """A score and the page that shows how it came about; empty for a score from elsewhere."""

    score: Score
    address: str


@require_safe
def pair_page(request: HttpRequest, pair_id: int) -> HttpResponse:
    pairs = policy.visible(request.user, Pair.objects.select_related("rider", "horse", "horse__owner"))
    pair = get_object_or_404(pairs, pk=pair_id)
    private = policy.can(request.user, "view-private", pair)
    scores = policy.visible(request.user, Score.objects.filter(pair=pair, retracted_at__isnull=True)).order_by(
        "-date", "competition", "class_name", "key"
    )
    if not private:
        scores = scores.exclude(hors_concours=True)
    page = Paginator(scores, SCORES_ON_A_PAGE).get_page(request.GET.get("page"))
    give_titles(page.object_list)
    seasons = policy.visible(request.user, Season.objects.all())
    rows = placed_rows(
        rows_about([pair])
        .filter(table__season__in=seasons)
        .select_related("table__season__association")
        .order_by("-table__season__starts_on", "table__season", "table__number")
    )
    return render(
        request,
        "riders/pair.html",
        {
            "pair": pair,
            "private": private,
            "page": page,
            "lines": [ScoreLine(score, address_of(score)) for score in page],
            "rows": rows,
            "outlooks": _seasons_with_outlook(request, pair, rows),
        },
    )


def _seasons_with_outlook(request: HttpRequest, pair: Pair, rows: list[PlacedRow]) -> set[int]:
    """Return the seasons of which this visitor may have the pair's outlook, as ``may_have_outlook`` answers for one."""
    if not request.user.is_authenticated:
        return set()
    own = pair.rider.user_id == request.user.pk
    kept = set() if own else set(policy.associations_of(request.user).values_list("pk", flat=True))
    return {row.season_id for row in rows if own or row.season.association_id in kept}


def address_of(score: Score) -> str:
    """Return where the working of a score stands, for a class that was run here; its key names class and entry."""
    parts = score.key.split("/")
    if score.source != Score.Source.CLASS or len(parts) != _ORIGIN_PARTS:
        return ""
    return reverse("entry-result", args=parts)
