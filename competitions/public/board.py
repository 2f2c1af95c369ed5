"""The board of a class, the fragment of it that pages poll, and the running order.

The fragment is what thousands of screens ask for every two seconds, so its way is short: the address is turned into a
class at most once a second, an unchanged version is answered 304 from one cheap read, and a version is rendered once.
"""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import get_object_or_404, render
from django.template.loader import get_template, render_to_string
from django.utils.cache import patch_cache_control
from django.utils.http import parse_etags
from django.views.decorators.http import require_safe

from competitions import policy
from competitions.models import Competition, CompetitionClass, Entry, PublishedResults
from competitions.public.access import class_or_404
from competitions.selectors.board import Board, BoardRow, SeatCell, board_etag, board_for, class_version
from competitions.selectors.championships import championships_counting

_PUBLIC_FOR_SECONDS = 1.0
_MOST_KEPT = 200
_TEMPLATE = "competitions/_board_rows.html"

_public_classes: dict[tuple[str, str], tuple[float, int]] = {}
_fragments: OrderedDict[tuple[int, int], bytes] = OrderedDict()


@dataclass(frozen=True, slots=True)
class BoardLine:
    """A row of the board with one cell for each seat of the panel, in the panel's order, and one for each part."""

    row: BoardRow
    cells: tuple[tuple[str, SeatCell | None], ...]
    parts: tuple[tuple[str, str | None], ...] = ()


@require_safe
def board_page(request: HttpRequest, slug: str, class_number: str) -> HttpResponse:
    competition_class = class_or_404(request.user, slug, class_number)
    context: dict[str, Any] = {
        "cls": competition_class,
        "competition": competition_class.competition,
        "works_here": policy.can(request.user, "run", competition_class),
        "championships": championships_counting(competition_class),
    }
    wanted = request.GET.get("revision", "")
    if wanted:
        published = _revision_or_404(request, competition_class, wanted)
        board = board_for(competition_class, published=published)
        context |= {"old": published, "rows": _rendered(board, competition_class, old=published)}
        return render(request, "competitions/board.html", context)
    version, rows = _current_fragment(competition_class)
    context |= {"rows": rows.decode(), "etag": fragment_etag(competition_class.pk, version)}
    return render(request, "competitions/board.html", context)


@require_safe
def board_rows(request: HttpRequest, slug: str, class_number: str) -> HttpResponse:
    """Answer a poll: 304 while the version is the one that the page shows, else the rows with their ETag."""
    class_id = public_class(slug, class_number)
    private = class_id is None
    if class_id is None:
        class_id = class_or_404(request.user, slug, class_number).pk
    version = class_version(class_id)
    if version is None:
        raise Http404
    etag = fragment_etag(class_id, version)
    asked = request.META.get("HTTP_IF_NONE_MATCH")
    if asked is not None and (asked == etag or etag in parse_etags(asked)):
        return _not_kept_unasked(HttpResponseNotModified(headers={"ETag": etag}), private=private)
    rows = _fragments.get((class_id, version))
    if rows is None:
        version, rows = _current_fragment(
            CompetitionClass.objects.select_related("competition", "test", "rule_set").get(pk=class_id)
        )
    return _not_kept_unasked(HttpResponse(rows, headers={"ETag": fragment_etag(class_id, version)}), private=private)


@require_safe
def running_order(request: HttpRequest, slug: str, class_number: str) -> HttpResponse:
    competition_class = class_or_404(request.user, slug, class_number)
    entries = list(
        policy.visible(request.user, Entry.objects.filter(competition_class=competition_class))
        .select_related("pair__rider", "pair__horse")
        .order_by("order", "number", "pk")
    )
    breaks = {pause.get("after"): pause.get("minutes") for pause in competition_class.breaks}
    return render(
        request,
        "competitions/running_order.html",
        {
            "cls": competition_class,
            "competition": competition_class.competition,
            "zone": competition_class.competition.zone,
            "drawn": any(entry.order is not None for entry in entries),
            "rides": [
                (entry, breaks.get(position) if position < len(entries) else None)
                for position, entry in enumerate(entries, start=1)
            ],
        },
    )


def public_class(slug: str, number: str) -> int | None:
    """Return the id of a class that everybody may see, remembered for a second; None for any other."""
    now = time.monotonic()
    kept = _public_classes.get((slug, number))
    if kept is not None and now - kept[0] < _PUBLIC_FOR_SECONDS:
        return kept[1]
    found = (
        CompetitionClass.objects.filter(competition__slug=slug, number=number)
        .exclude(competition__state=Competition.State.PLANNED)
        .values_list("pk", flat=True)
        .first()
    )
    if found is None:
        _public_classes.pop((slug, number), None)
        return None
    if len(_public_classes) > _MOST_KEPT:
        _public_classes.clear()
    _public_classes[slug, number] = (now, found)
    return found


def _current_fragment(competition_class: CompetitionClass) -> tuple[int, bytes]:
    """Return the version that is shown and its rows, rendered once for each version in this process."""
    key = (competition_class.pk, competition_class.version)
    rows = _fragments.get(key)
    if rows is None:
        rows = _rendered(board_for(competition_class), competition_class).encode()
        _fragments[key] = rows
        while len(_fragments) > _MOST_KEPT:
            _fragments.popitem(last=False)
    return competition_class.version, rows


def _rendered(board: Board, competition_class: CompetitionClass, *, old: PublishedResults | None = None) -> str:
    return render_to_string(
        _TEMPLATE,
        {
            "board": board,
            "old": old,
            "lines": [_line(board, row) for row in board.rows],
            "teams": [(team, board.members_of(team)) for team in board.teams],
            "revisions": list(competition_class.published.all()),
        },
    )


def _line(board: Board, row: BoardRow) -> BoardLine:
    return BoardLine(
        row,
        tuple((column.seat, row.seats.get(column.seat)) for column in board.seats),
        tuple((part, row.parts.get(part)) for part in board.parts),
    )


def _revision_or_404(request: HttpRequest, competition_class: CompetitionClass, wanted: str) -> PublishedResults:
    if not (wanted.isascii() and wanted.isdigit() and len(wanted) <= 6):
        raise Http404
    published = policy.visible(request.user, PublishedResults.objects.filter(competition_class=competition_class))
    return get_object_or_404(published, revision=int(wanted))


def fragment_etag(class_id: int, version: int) -> str:
    return f'{board_etag(class_id, version)[:-1]}-{_look()}"'


@cache
def _look() -> str:
    """Name how the rows are drawn, so that a page that was open during an update of the software gets the new ones."""
    source = get_template(_TEMPLATE).template.source  # type: ignore[attr-defined]
    return hashlib.sha256(source.encode()).hexdigest()[:8]


def _not_kept_unasked(response: HttpResponse, *, private: bool) -> HttpResponse:
    if private:
        patch_cache_control(response, private=True, no_cache=True)
    else:
        response.headers["Cache-Control"] = "no-cache"
    return response
