"""What a draft, or a saved version, would do to a season: counts, rows before and after, and the scores behind one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from riders import policy
from riders.errors import InvalidInput
from riders.models import Association, Season
from riders.pages.ledger import keepers_only
from riders.pages.pairs import address_of
from riders.pages.scheme_library import drafts_of, kept_association, version_or_404
from riders.pages.seasons import missing_sentences
from riders.services.scheme_effects import KINDS, Effect, effect_of, names_of_units, unit_under

_ON_A_PAGE, _AT_FIRST = 50, 10
_SAID: Mapping[str, str] = {
    "falls": "no longer qualifies",
    "qualifies": "newly qualifies",
    "place": "other place",
    "value": "other value",
}


@keepers_only
@require_safe
def of_draft(request: HttpRequest, slug: str, draft_id: int, season_id: int) -> HttpResponse:
    """Show what a draft, as it was last kept, would do to a season."""
    association = kept_association(request, slug)
    draft = get_object_or_404(drafts_of(request, association), pk=draft_id)
    context = {"draft": draft, "title": draft.document.get("title") or draft.key}
    return _effect(request, association, season_id, draft.document, context)


@keepers_only
@require_safe
def of_version(request: HttpRequest, slug: str, scheme_id: int, season_id: int) -> HttpResponse:
    """Show what a saved version would do to a season that counts by another one."""
    association, scheme = kept_association(request, slug), version_or_404(request, scheme_id)
    return _effect(request, association, season_id, scheme.document, {"scheme": scheme, "title": str(scheme)})


def _effect(
    request: HttpRequest, association: Association, season_id: int, document: object, context: dict[str, Any]
) -> HttpResponse:
    seasons = policy.visible(request.user, Season.objects.filter(association=association))
    season = get_object_or_404(seasons.select_related("association", "scheme"), pk=season_id)
    context |= {"association": association, "season": season, "address": request.path}
    part = request.headers.get("X-Part", "")
    try:
        if "unit" in request.GET:
            return _unit(request, season, document, context, part=part)
        effect = effect_of(document, season)
    except InvalidInput as refused:
        context |= {"message": refused.message, "problems": refused.problems}
        template = "riders/_scheme_effect.html" if part else "riders/scheme_effect.html"
        return render(request, template, context, status=200 if part else 422)
    kind = request.GET.get("kind", "")
    kind = kind if kind in KINDS and effect.comparable else ""
    rows = effect.of(kind) if effect.comparable else effect.rows
    page = Paginator(rows, _AT_FIRST if part else _ON_A_PAGE).get_page(request.GET.get("page"))
    names = names_of_units(effect.unit, page.object_list)
    context |= {
        "effect": effect,
        "kinds": _counts(effect, kind),
        "kind": kind,
        "page": page,
        "rows": [
            (row, names.get(row.unit, row.unit), [_SAID[one] for one in row.kinds], urlencode({"unit": row.unit}))
            for row in page.object_list
        ],
    }
    return render(request, "riders/_scheme_effect.html" if part else "riders/scheme_effect.html", context)


def _counts(effect: Effect, kind: str) -> list[tuple[str, str, int, bool]]:
    return [(key, words, effect.counts[key], key == kind) for key, words in KINDS.items()]


def _unit(
    request: HttpRequest, season: Season, document: object, context: dict[str, Any], *, part: str
) -> HttpResponse:
    unit = request.GET["unit"]
    found = () if "\0" in unit else unit_under(document, season, unit=unit[:200])
    if not found:
        raise Http404
    row = next((one.row for one in found if one.row), None)
    rows = [({"row": one.row, "missing": missing_sentences(one.row)}, _lines(one.scores)) for one in found if one.row]
    context |= {
        "rows": rows,
        "left_out": [_lines(one.scores) for one in found if one.row is None],
        "name": str(row.pair) if row and row.pair else unit,
        "unit": unit,
    }
    return render(request, "riders/_scheme_unit.html" if part else "riders/scheme_unit.html", context)


def _lines(scores: Any) -> list[tuple[Any, str]]:
    return [(explained, address_of(explained.score)) for explained in scores]
