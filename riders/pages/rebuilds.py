"""The standings of a season worked out anew as a whole, for those who keep it: asked for, and seen to proceed."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from riders import policy
from riders.errors import DomainError
from riders.models import Season
from riders.pages.ledger import account, keepers_only
from riders.services.rebuilds import latest_rebuild, request_rebuild


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def rebuild_page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show how far the latest rebuild is; a POST asks for one, or joins the one that is under way."""
    seasons = policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    season = get_object_or_404(seasons, association__slug=slug, slug=season_slug)
    if not policy.can(request.user, "change", season):
        raise PermissionDenied("Only those who keep this association have its standings worked out anew.")
    context: dict[str, object] = {"season": season}
    if request.method == "POST":
        try:
            request_rebuild(season, by=account(request))
        except DomainError as refused:
            context["problem"] = refused.message
        else:
            return redirect("season-rebuild", slug, season_slug)
    context["rebuild"] = latest_rebuild(season)
    part = request.headers.get("X-Part") == "state"
    template = "riders/_rebuild_state.html" if part else "riders/season_rebuild.html"
    return render(request, template, context, status=409 if "problem" in context else 200)
