"""A season: its tables, why a unit stands where it stands, two units side by side, the standings as a file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import content_disposition_header, urlencode
from django.views.decorators.http import require_safe

from riders import policy
from riders.errors import InvalidInput
from riders.models import Pair, Season, SeasonEdition, StandingTable
from riders.pages.closing import changes_in_words
from riders.pages.pairs import address_of
from riders.selectors.comparisons import compare_rows, neighbours_of, row_of_unit
from riders.selectors.editions import changes_since, edition_in_force
from riders.selectors.places import PlacedRow, placed_rows
from riders.selectors.season_lists import standings_csv
from riders.selectors.seasons import ExplainedScore, explained_rows, rows_as_closed, rule_sentences, value_sentence
from riders.selectors.standings_tables import group_title, missing_words, table_overview, table_page
from riders.services.past_standings import standings_as_of
from riders.visits import TooMany, work_for_visitor

MOST_COMPARED = 10_000


@dataclass(frozen=True, slots=True)
class RowView:
    """A row as the page shows it: what is missing, and where its scores and its comparison with another row are."""

    row: PlacedRow
    counted: int
    missing: tuple[str, ...]
    address: str
    beside: str


@require_safe
def season_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show the first rows of every table; with ``table`` one table page by page, with ``as_of`` the tables of a day."""
    season = _season(request, slug, season_slug)
    edition = edition_in_force(season)
    keeps = policy.can(request.user, "change", season)
    context: dict[str, Any] = {
        "season": season,
        "rule": edition.head["rule"] if edition else rule_sentences(season),
        "value_sentence": value_sentence(season),
        "ranked": _is_ranked(season),
        "edition": edition,
        "keeps": keeps,
        "since": _since(edition) if keeps and edition else "",
    }
    if request.GET.get("as_of"):
        return _past_page(request, season, context)
    number = request.GET.get("table", "")
    if number.isascii() and number.isdigit() and len(number) < 10:
        one = table_page(season, table=int(number), page=request.GET.get("page", "1"))
        if one is None:
            raise Http404
        tables, context["alone"] = [one], one
    else:
        tables = table_overview(season)
    context["tables"] = [(table, [_row_view(row, season) for row in table.rows]) for table in tables]
    return render(request, "riders/season.html", context)


def _since(edition: SeasonEdition) -> str:
    if edition.head["scores"] > MOST_COMPARED:
        return "This season has too many scores to compare the ledger with them on every visit."
    return changes_in_words(changes_since(edition))


def _past_page(request: HttpRequest, season: Season, context: dict[str, Any]) -> HttpResponse:
    typed = request.GET["as_of"]
    try:
        tables = standings_as_of(season, typed, at_work=work_for_visitor(request))
    except TooMany as refusal:
        context |= {"tables": [], "as_of_typed": typed, "as_of_problem": refusal.message, "too_many": True}
        answer = render(request, "riders/season.html", context, status=429)
        answer["Retry-After"] = str(refusal.wait)
        return answer
    except InvalidInput as refusal:
        context |= {"tables": [], "as_of_typed": typed, "as_of_problem": refusal.message}
        return render(request, "riders/season.html", context, status=400)
    context["tables"] = [(table, [_row_view(row, season) for row in table.rows]) for table in tables]
    context |= {"as_of": date.fromisoformat(typed), "as_of_typed": typed}
    return render(request, "riders/season.html", context)


@require_safe
def standings_file(request: HttpRequest, slug: str, season_slug: str) -> StreamingHttpResponse:
    """Hand out the standings as CSV, written while they are read."""
    season = _season(request, slug, season_slug)
    name = f"{season.association.slug} {season.slug} standings.csv"
    return StreamingHttpResponse(
        standings_csv(season),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": content_disposition_header(as_attachment=True, filename=name) or "attachment"},
    )


@require_safe
def compare_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Lay two rows of one table side by side: "why is she third?"."""
    season = _season(request, slug, season_slug)
    number = request.GET.get("table", "")
    plain = number.isascii() and number.isdigit() and len(number) < 10
    table = get_object_or_404(StandingTable, season=season, shown=True, number=int(number) if plain else -1)
    row = _row_in(table, request.GET.get("unit", ""))
    neighbours = neighbours_of(row)
    wanted = request.GET.get("with", "")
    other = next((one for one in neighbours if one.unit == wanted), None) if wanted else None
    if wanted and other is None:
        other = _row_in(table, wanted)
    row, *neighbours = rows_as_closed(season, [row, *neighbours])
    if other is not None:
        (other,) = rows_as_closed(season, [other])
    other = other or next(iter(neighbours), None)
    comparison = compare_rows(row, other, season=season) if other else None
    context = {
        "season": season,
        "row": row,
        "name": _name(row),
        "table": group_title(row.group),
        "ranked": _is_ranked(season),
        "other": other,
        "neighbours": neighbours,
        "comparison": comparison,
        "sides": []
        if comparison is None
        else [(_row_view(side.row, season), _name(side.row), score_lines(side.counted)) for side in comparison.sides],
    }
    return render(request, "riders/season_compare.html", context)


@require_safe
def season_unit_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show the scores behind the rows of one unit; asked for by the season page, only the part that goes into it."""
    season = _season(request, slug, season_slug)
    unit = request.GET.get("unit", "")
    rows = rows_as_closed(season, placed_rows(season.rows.filter(unit=unit).order_by("table__number")))
    if not rows:
        raise Http404
    context: dict[str, Any] = {
        "season": season,
        "rows": [
            (_row_view(row, season), score_lines(scores))
            for row, scores in zip(rows, explained_rows(season, rows), strict=True)
        ],
        "name": _name(rows[0]),
        "ranked": _is_ranked(season),
    }
    if request.headers.get("X-Part") == "scores":
        return render(request, "riders/_season_scores.html", context)
    context |= {"rule": rule_sentences(season), "statement_of": _statement_of(request, season, rows[0])}
    return render(request, "riders/season_unit.html", context)


def _row_in(table: StandingTable, unit: str) -> PlacedRow:
    row = row_of_unit(table, unit)
    if row is None:
        raise Http404
    return row


def _season(request: HttpRequest, slug: str, season_slug: str) -> Season:
    seasons = policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    return get_object_or_404(seasons, association__slug=slug, slug=season_slug)


def _statement_of(request: HttpRequest, season: Season, row: PlacedRow) -> Pair | None:
    """Return the pair whose statement this person may have: their own, or any of an association that they keep."""
    pair, user = row.pair, request.user
    if pair is None or not user.is_authenticated:
        return None
    return pair if pair.rider.user_id == user.pk or policy.keeps(user, season.association) else None


def _row_view(row: PlacedRow, season: Season) -> RowView:
    address = reverse("season-unit", args=[season.association.slug, season.slug])
    beside = reverse("season-compare", args=[season.association.slug, season.slug])
    return RowView(
        row=row,
        counted=row.counted,
        missing=missing_sentences(row),
        address=f"{address}?{urlencode({'unit': row.unit})}",
        beside=f"{beside}?{urlencode([('table', str(row.table)), ('unit', row.unit)])}",
    )


def missing_sentences(row: PlacedRow) -> tuple[str, ...]:
    """Return what the unit still lacks, one plain phrase for each requirement that is not met."""
    unmet = (requirement for requirement in row.requirements if not requirement["met"])
    return tuple(missing_words(requirement) for requirement in unmet)


def score_lines(scores: tuple[ExplainedScore, ...]) -> list[tuple[ExplainedScore, str]]:
    return [(explained, address_of(explained.score)) for explained in scores]


def _name(row: PlacedRow) -> str:
    return str(row.pair) if row.pair else row.unit


def _is_ranked(season: Season) -> bool:
    return bool(season.scheme.document.get("mode", "rank") == "rank")
