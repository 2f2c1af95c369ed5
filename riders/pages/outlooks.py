"""A pair's outlook in a season: for its rider, those who keep the association, and staff, as the statement is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from riders import policy
from riders.models import Pair, Season
from riders.pages.outlook_plot import outlook_plot
from riders.pages.seasons import score_lines
from riders.selectors.outlooks import GroupOutlook, PairOutlook, pair_outlook
from riders.selectors.places import PlacedRow, placed_rows
from riders.selectors.seasons import ExplainedScore, explained_rows, rows_as_closed, value_sentence
from scoring.season import NextScore, Outlook, Ride

_Place = tuple[str, tuple[str, ...]]
"""A unit and the values of the table's group, empty where one is not stated."""


@dataclass(frozen=True, slots=True)
class GroupView:
    """One table's outlook as the page shows it; ``plot`` is the address of the drawing, empty where there is none.

    ``row`` is None where no score counts yet, ``lines`` are those that count, ``level_below`` is the percentage below
    which one more score leaves the value as it is, empty where every score moves it.
    """

    group: GroupOutlook
    row: PlacedRow | None
    lines: list[tuple[ExplainedScore, str]]
    others: int
    rides: tuple[str, ...]
    missing: tuple[str, ...]
    pieces: tuple[tuple[NextScore, str], ...]
    level_below: str
    form: tuple[str, ...]
    plot: str


@never_cache
@require_safe
def outlook_page(request: HttpRequest, slug: str, season_slug: str, pair_id: int) -> HttpResponse:
    found = _outlook(request, slug, season_slug, pair_id)
    if isinstance(found, HttpResponse):
        return found
    address = reverse("outlook-plot", args=[slug, season_slug, pair_id, 0]).removesuffix("0.svg")
    rows = _rows_of(found)
    groups = [
        _group_view(group, rows.get(_place_of(group.outlook)), f"{address}{index}.svg")
        for index, group in enumerate(found.groups)
    ]
    over = found.as_of >= found.season.ends_on
    context = {
        "outlook": found,
        "season": found.season,
        "groups": groups,
        "over": over,
        "value_sentence": value_sentence(found.season),
    }
    return render(request, "riders/outlook.html", context)


@require_safe
def plot_page(request: HttpRequest, slug: str, season_slug: str, pair_id: int, index: int) -> HttpResponse:
    """Answer with the drawing of one table: a picture at an address of its own."""
    found = _outlook(request, slug, season_slug, pair_id)
    if isinstance(found, HttpResponse):
        return found
    plot = outlook_plot(found.groups[index]) if index < len(found.groups) else None
    if plot is None:
        raise Http404
    return HttpResponse(plot, content_type="image/svg+xml", headers={"Cache-Control": "private, no-cache"})


def _outlook(request: HttpRequest, slug: str, season_slug: str, pair_id: int) -> PairOutlook | HttpResponse:
    seasons = policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    season = get_object_or_404(seasons, association__slug=slug, slug=season_slug)
    pairs = policy.visible(request.user, Pair.objects.select_related("rider", "horse"))
    pair = get_object_or_404(pairs, pk=pair_id)
    if may_have_outlook(request.user, pair, season):
        return pair_outlook(pair, season)
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    raise Http404


def may_have_outlook(user: policy.Visitor, pair: Pair, season: Season) -> bool:
    """Allow the rider, those who keep the association of the season, and staff."""
    if not user.is_authenticated:
        return False
    return pair.rider.user_id == user.pk or policy.keeps(user, season.association)


def _rows_of(found: PairOutlook) -> dict[_Place, tuple[PlacedRow, tuple[ExplainedScore, ...]]]:
    units = {group.outlook.unit for group in found.groups}
    rows = rows_as_closed(found.season, placed_rows(found.season.rows.filter(unit__in=units).order_by("table__number")))
    places = [(row.unit, tuple(value or "" for value in row.group.values())) for row in rows]
    return dict(zip(places, zip(rows, explained_rows(found.season, rows), strict=True), strict=True))


def _place_of(outlook: Outlook) -> _Place:
    return outlook.unit, tuple("" if value is None else str(value) for _, value in outlook.group)


def _group_view(
    group: GroupOutlook, found: tuple[PlacedRow, tuple[ExplainedScore, ...]] | None, plot: str
) -> GroupView:
    row, scores = found or (None, ())
    counted = tuple(score for score in scores if score.outcome == "counted")
    return GroupView(
        group,
        row,
        score_lines(counted),
        len(scores) - len(counted),
        rides_in_words(group.outlook),
        missing_in_words(group.outlook),
        tuple((piece, _value_words(piece)) for piece in group.outlook.next_score),
        _level_below(group.outlook),
        tuple(_as_in_the_ledger(percentage) for percentage in group.form),
        plot if outlook_plot(group) is not None else "",
    )


def _as_in_the_ledger(percentage: str) -> str:
    whole, _, decimals = percentage.partition(".")
    return f"{whole}.{decimals:0<3}"


def _level_below(outlook: Outlook) -> str:
    first, *more = outlook.next_score or (None,)
    return first.last if first and more and first.value is not None and first.value == outlook.value else ""


def missing_in_words(outlook: Outlook) -> tuple[str, ...]:
    """Return what is missing, each with how much of it there is."""
    return tuple(
        met.sentence if met.options else f"{met.sentence}: {met.have or 'none'} so far" for met in outlook.missing
    )


def rides_in_words(outlook: Outlook) -> tuple[str, ...]:
    """Return what the further rides must be, those that are alike in one phrase."""
    alike = Counter(_ride_words(ride) for ride in outlook.rides)
    return tuple(
        f"{number} {'ride' if number == 1 else 'rides'}{f', {each}{words}' if words else ''}"
        for words, number in alike.items()
        for each in ["each " if number > 1 else ""]
    )


def _ride_words(ride: Ride) -> str:
    said = ride.as_dict()
    new = [f"a new {name}" for name in _texts(said["new"])]
    where = [_condition_words(condition) for condition in _conditions(said["where"])]
    return "; ".join([*([f"with {' and '.join(new)}"] if new else []), *where])


def _texts(values: object) -> list[str]:
    return [str(value) for value in values] if isinstance(values, Iterable) else []


def _conditions(values: object) -> list[dict[str, object]]:
    return [value for value in values if isinstance(value, dict)] if isinstance(values, Iterable) else []


_ASKED = {
    ("member", True): "with the membership in force",
    ("recognised", True): "at a recognised competition",
    ("hors_concours", False): "not hors concours",
    ("highest_of_level", True): "in the highest test of its level",
    ("kind", "set"): "in a set test",
    ("kind", "freestyle"): "in a freestyle",
}


def _condition_words(condition: dict[str, object]) -> str:
    """Say what a ride has to be: a turn of speech where there is one, else the field and its value."""
    field = str(condition["field"])
    if "is" not in condition:
        return f"{field.replace('_', ' ')} other than {' or '.join(_texts(condition['not_in']))}"
    value = condition["is"]
    plain = {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
    return _ASKED.get((field, value), f"{field.replace('_', ' ')}: {plain}")


def _value_words(piece: NextScore) -> str:
    if piece.value is not None:
        return piece.value
    if piece.at_first is None:
        return "no value"
    return f"{piece.at_first} to {piece.at_last}"
