"""A championship over several classes, and the fragment of its page that is asked for while classes are ridden."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from functools import cache

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import get_object_or_404, render
from django.template.loader import get_template, render_to_string
from django.utils.cache import patch_cache_control
from django.utils.http import parse_etags
from django.views.decorators.http import require_safe

from competitions import policy
from competitions.models import Championship, Competition
from competitions.selectors.championships import ChampionshipView, championship_etag, championship_for
from riders.policy import Visitor

_MOST_KEPT = 50
_TEMPLATE = "competitions/_championship_rows.html"

_fragments: OrderedDict[str, tuple[ChampionshipView, str]] = OrderedDict()


@require_safe
def championship_page(request: HttpRequest, slug: str, championship: str) -> HttpResponse:
    found = championship_or_404(request.user, slug, championship)
    etag, view, rows = _current(found)
    return render(
        request,
        "competitions/championship.html",
        {
            "championship": found,
            "competition": found.competition,
            "view": view,
            "rows": rows,
            "etag": etag,
            "works_here": policy.can(request.user, "run", found),
        },
    )


@require_safe
def championship_rows(request: HttpRequest, slug: str, championship: str) -> HttpResponse:
    """Answer a poll: 304 while nothing has changed in the rule and in any of the classes, else the rows."""
    found = championship_or_404(request.user, slug, championship)
    etag = _etag(found)
    asked = request.META.get("HTTP_IF_NONE_MATCH")
    if asked is not None and etag in parse_etags(asked):
        response: HttpResponse = HttpResponseNotModified(headers={"ETag": etag})
    else:
        etag, _, rows = _current(found)
        response = HttpResponse(rows, headers={"ETag": etag})
    patch_cache_control(response, private=found.competition.state == Competition.State.PLANNED, no_cache=True)
    return response


def championship_or_404(user: Visitor, slug: str, championship: str) -> Championship:
    known = policy.visible(user, Championship.objects.select_related("competition__association"))
    return get_object_or_404(known, competition__slug=slug, slug=championship)


def _current(championship: Championship) -> tuple[str, ChampionshipView, str]:
    """Return what is shown under the present tag, worked out once for each tag in this process."""
    etag = _etag(championship)
    kept = _fragments.get(etag)
    if kept is None:
        view = championship_for(championship)
        # Kept under the tag that was read first: should a class have moved on since, the next poll asks again.
        kept = _fragments[etag] = view, render_to_string(_TEMPLATE, {"view": view})
        while len(_fragments) > _MOST_KEPT:
            _fragments.popitem(last=False)
    return etag, *kept


def _etag(championship: Championship) -> str:
    return _with_look(championship_etag(championship))


def _with_look(etag: str) -> str:
    return f'{etag[:-1]}-{_look()}"'


@cache
def _look() -> str:
    """Name how the rows are drawn, so that a page that was open during an update of the software gets the new ones."""
    source = get_template(_TEMPLATE).template.source  # type: ignore[attr-defined]
    return hashlib.sha256(source.encode()).hexdigest()[:8]
