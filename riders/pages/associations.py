"""Associations and the seasons that they keep."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from riders import policy
from riders.models import Association, Season


@require_safe
def association_page(request: HttpRequest, slug: str) -> HttpResponse:
    association = get_object_or_404(policy.visible(request.user, Association.objects.all()), slug=slug)
    seasons = policy.visible(request.user, Season.objects.filter(association=association)).select_related("scheme")
    keeps = policy.can(request.user, "change", association)
    context = {"association": association, "periods": _by_period(seasons), "keeps": keeps}
    return render(request, "riders/association.html", context)


@dataclass(frozen=True, slots=True)
class Period:
    """The seasons over the same days: one year may be counted by several rules."""

    starts_on: date
    ends_on: date
    seasons: tuple[SeasonLine, ...]


@dataclass(frozen=True, slots=True)
class SeasonLine:
    season: Season
    counted: str
    rows: int


_ROWS = Coalesce(Sum("tables__size", filter=Q(tables__shown=True)), 0)
_COUNTED = {"rank": "a table with places", "qualify": "who has qualified", "achieve": "what has been achieved"}


def _by_period(seasons: QuerySet[Season]) -> list[Period]:
    """Put seasons over the same days together, the latest days first, in the order in which they were made."""
    found: dict[tuple[date, date], list[SeasonLine]] = {}
    for season in seasons.annotate(row_count=_ROWS).order_by("-starts_on", "-ends_on", "pk"):
        counted = _COUNTED[season.scheme.document.get("mode", "rank")]
        line = SeasonLine(season, counted, season.row_count)
        found.setdefault((season.starts_on, season.ends_on), []).append(line)
    return [Period(*days, tuple(lines)) for days, lines in found.items()]
