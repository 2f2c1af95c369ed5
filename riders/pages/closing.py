"""The end of a season, for those who keep it: closed and reopened with a reason, its editions, what came since."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_safe

from riders import policy
from riders.errors import DomainError
from riders.models import Season, SeasonEdition
from riders.pages.ledger import account, keepers_only
from riders.selectors.editions import (
    ChangedScore,
    changes_since,
    edition_in_force,
    editions_of,
    frozen_scores_csv,
    season_history,
)
from riders.services.closing import close_season, reopen_season

MOST_SHOWN = 50
_WHAT = {"added": "added", "changed": "changed", "gone": "retracted", "named": "under another name or pair"}


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def year_end(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show how the season stands at its end; a POST closes it, or reopens it where it is closed."""
    season = kept_season(request, slug, season_slug)
    context: dict[str, Any] = {"season": season, "reason": request.POST.get("reason", "")}
    if request.method == "POST":
        try:
            messages.success(request, _decide(request, season))
        except DomainError as refused:
            context["problem"] = refused.message
            season.refresh_from_db()
        else:
            return redirect("season-closing", slug, season_slug)
    edition = edition_in_force(season)
    changes = changes_since(edition) if edition else []
    context |= {
        "edition": edition,
        "since": changes_in_words(changes),
        "changes": changes[:MOST_SHOWN],
        "more": max(len(changes) - MOST_SHOWN, 0),
        "history": policy.visible(request.user, season_history(season)),
        "editions": policy.visible(request.user, editions_of(season)),
        "running": season.ends_on >= timezone.now().date(),
    }
    return render(request, "riders/season_closing.html", context, status=409 if "problem" in context else 200)


def _decide(request: HttpRequest, season: Season) -> str:
    """Do what the button that was pressed says, not what would fit by now: someone else may have been quicker."""
    version = request.POST.get("version", "")
    given: dict[str, Any] = {
        "expected_version": int(version) if version.isascii() and version.isdigit() and len(version) < 10 else -1,
        "by": account(request),
        "reason": request.POST.get("reason", ""),
    }
    if request.POST.get("do") == "reopen":
        reopen_season(season, **given)
        return f"{season.title} is open again. Its standings follow the ledger; close it again when all is right."
    edition = close_season(season, **given)
    return f"{season.title} is closed. Its final lists are edition {edition.number}."


@keepers_only
@require_safe
def edition_scores(request: HttpRequest, slug: str, season_slug: str, number: int) -> HttpResponse:
    """Hand out the ledger that an edition was counted from."""
    season = kept_season(request, slug, season_slug)
    editions = policy.visible(request.user, SeasonEdition.objects.filter(season=season))
    edition = get_object_or_404(editions, number=number)
    name = f"{slug} {season_slug} edition {number} scores.csv"
    disposition = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    return HttpResponse(
        frozen_scores_csv(edition),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": disposition, "Cache-Control": "private, no-cache"},
    )


def kept_season(request: HttpRequest, slug: str, season_slug: str) -> Season:
    """Return the season, for those who keep its association."""
    seasons = policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    season = get_object_or_404(seasons, association__slug=slug, slug=season_slug)
    if not policy.can(request.user, "change", season):
        raise PermissionDenied("Only those who keep this association close and reopen its seasons.")
    return season


def changes_in_words(changes: Iterable[ChangedScore]) -> str:
    """Say how many scores are different from what was counted: "3 scores changed since (2 changed, 1 added)"."""
    counted = Counter(change.what for change in changes)
    if not counted:
        return ""
    total = counted.total()
    said = ", ".join(f"{counted[what]} {word}" for what, word in _WHAT.items() if counted[what])
    return f"{total} {'score has' if total == 1 else 'scores have'} changed since it was closed ({said})."
