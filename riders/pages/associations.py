"""Associations, their seasons, and why a unit stands where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from riders import policy
from riders.models import Association, Pair, Season, StandingRow
from riders.pages.pairs import address_of
from riders.selectors.seasons import ExplainedScore, explained_scores, rule_sentences, standings_tables


@dataclass(frozen=True, slots=True)
class RowView:
    """A row of the standings as the page shows it: its name, what is still missing, and the address of its scores."""

    row: StandingRow
    counted: int
    missing: tuple[str, ...]
    address: str


@require_safe
def association_page(request: HttpRequest, slug: str) -> HttpResponse:
    association = get_object_or_404(policy.visible(request.user, Association.objects.all()), slug=slug)
    seasons = policy.visible(request.user, Season.objects.filter(association=association)).select_related("scheme")
    keeps = policy.can(request.user, "change", association)
    context = {"association": association, "seasons": seasons, "keeps": keeps}
    return render(request, "riders/association.html", context)


@require_safe
def season_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    season = _season(request, slug, season_slug)
    tables = [(table, [_row_view(row, season) for row in table.rows]) for table in standings_tables(season)]
    return render(
        request,
        "riders/season.html",
        {"season": season, "tables": tables, "rule": rule_sentences(season), "ranked": _is_ranked(season)},
    )


@require_safe
def season_unit_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show the scores behind the rows of one unit; asked for by the season page, only the part that goes into it."""
    season = _season(request, slug, season_slug)
    unit = request.GET.get("unit", "")
    rows = list(StandingRow.objects.filter(season=season, unit=unit).select_related("pair__rider", "pair__horse"))
    if not rows:
        raise Http404
    context: dict[str, Any] = {
        "season": season,
        "rows": [(_row_view(row, season), _lines(explained_scores(row))) for row in rows],
        "name": _name(rows[0]),
        "ranked": _is_ranked(season),
    }
    if request.headers.get("X-Part") == "scores":
        return render(request, "riders/_season_scores.html", context)
    context |= {"rule": rule_sentences(season), "statement_of": _statement_of(request, season, rows[0])}
    return render(request, "riders/season_unit.html", context)


def _season(request: HttpRequest, slug: str, season_slug: str) -> Season:
    seasons = policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    return get_object_or_404(seasons, association__slug=slug, slug=season_slug)


def _statement_of(request: HttpRequest, season: Season, row: StandingRow) -> Pair | None:
    """Return the pair whose statement this person may have: their own, or any of an association that they keep."""
    pair, user = row.pair, request.user
    if pair is None or not user.is_authenticated:
        return None
    return pair if pair.rider.user_id == user.pk or policy.keeps(user, season.association) else None


def _row_view(row: StandingRow, season: Season) -> RowView:
    address = reverse("season-unit", args=[season.association.slug, season.slug])
    return RowView(
        row=row,
        counted=len(row.document.get("counted", [])),
        missing=missing_sentences(row),
        address=f"{address}?{urlencode({'unit': row.unit})}",
    )


def missing_sentences(row: StandingRow) -> tuple[str, ...]:
    """Return what the unit still lacks, one plain phrase for each requirement that is not met."""
    return tuple(
        f"{requirement['have']} of {requirement['need']} {requirement['count']}"
        for requirement in row.document.get("requirements", [])
        if not requirement["met"]
    )


def _lines(scores: tuple[ExplainedScore, ...]) -> list[tuple[ExplainedScore, str]]:
    return [(explained, address_of(explained.score)) for explained in scores]


def _name(row: StandingRow) -> str:
    return str(row.pair) if row.pair else row.unit


def _is_ranked(season: Season) -> bool:
    return bool(season.scheme.document.get("mode", "rank") == "rank")
