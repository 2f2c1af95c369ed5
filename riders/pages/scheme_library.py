"""The schemes of an association: looked through, laid side by side, opened to be changed, given to a season."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from riders import policy
from riders.errors import DomainError
from riders.models import Association, Scheme, SchemeDraft, Season, SeasonSchemeChange
from riders.pages.ledger import account, keepers_only
from riders.selectors.scheme_library import schemes_for, versions, versions_of
from riders.services.scheme_differences import differences
from riders.services.scheme_drafts import open_draft, start_draft
from riders.services.scheme_switches import switch_season
from scoring.season.drafting import read_draft

_TYPED = ("title", "key", "copy")


def kept_association(request: HttpRequest, slug: str) -> Association:
    """Return an association that the person keeps."""
    association = get_object_or_404(policy.visible(request.user, Association.objects.all()), slug=slug)
    if not policy.can(request.user, "change", association):
        raise PermissionDenied("Only those who keep this association see its schemes at work.")
    return association


def version_or_404(request: HttpRequest, scheme_id: int) -> Scheme:
    return get_object_or_404(policy.visible(request.user, versions()), pk=scheme_id)


def drafts_of(request: HttpRequest, association: Association) -> Any:
    drafts = policy.visible(request.user, SchemeDraft.objects.filter(association=association))
    return drafts.select_related("based_on", "association", "by").order_by("-kept_at", "-pk")


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def library(request: HttpRequest, slug: str) -> HttpResponse:
    """List the schemes of the house and the person's drafts; a POST begins a rule, from nothing or as a copy."""
    association = kept_association(request, slug)
    context: dict[str, Any] = {
        "association": association,
        "typed": {name: request.POST.get(name, "") for name in _TYPED},
        "entries": schemes_for(association),
        "drafts": drafts_of(request, association),
    }
    if request.method == "POST":
        copied = request.POST.get("copy", "")
        copy_of = version_or_404(request, int(copied)) if copied.isdecimal() and len(copied) < 10 else None
        try:
            draft = start_draft(
                request.POST.get("title", ""),
                key=request.POST.get("key", ""),
                association=association,
                by=account(request),
                copy_of=copy_of,
            )
        except DomainError as refused:
            context |= {"problems": refused.fields, "message": refused.message}
        else:
            return redirect("scheme-draft", slug, draft.pk)
    return render(request, "riders/scheme_library.html", context, status=422 if "problems" in context else 200)


@keepers_only
@require_safe
def version(request: HttpRequest, slug: str, scheme_id: int) -> HttpResponse:
    """Show one version: the rule in sentences, its history, the seasons that count by it or could."""
    return _version(request, slug, scheme_id)


def _version(request: HttpRequest, slug: str, scheme_id: int, **more: Any) -> HttpResponse:
    association, scheme = kept_association(request, slug), version_or_404(request, scheme_id)
    seasons = policy.visible(request.user, Season.objects.filter(association=association))
    changes = policy.visible(request.user, SeasonSchemeChange.objects.filter(season__association=association))
    every = versions_of(scheme)
    context = {
        "association": association,
        "scheme": scheme,
        "sentences": read_draft(scheme.document).sentences,
        "document": json.dumps(scheme.document, ensure_ascii=False, indent=2),
        "versions": every,
        "others": [entry.latest for entry in schemes_for(association) if entry.latest.key != scheme.key],
        "seasons": seasons.select_related("scheme", "association").order_by("-starts_on", "pk"),
        "changes": changes.filter(after__key=scheme.key).select_related("season", "before", "after", "by"),
        "may_change": policy.can(request.user, "change", scheme),
        "latest": every[0],
        "draft": drafts_of(request, association).filter(key=scheme.key).first(),
        **more,
    }
    return render(request, "riders/scheme_version.html", context, status=422 if "message" in more else 200)


@keepers_only
@require_POST
def edit(request: HttpRequest, slug: str, scheme_id: int) -> HttpResponse:
    """Open a version to be changed: the draft that the person has begun, or a new one."""
    association, scheme = kept_association(request, slug), version_or_404(request, scheme_id)
    if not policy.can(request.user, "change", scheme):
        raise PermissionDenied("This scheme is kept by another association. Take a copy of it instead.")
    draft = open_draft(scheme, association=association, by=account(request))
    return redirect("scheme-draft", slug, draft.pk)


@keepers_only
@require_safe
def compare(request: HttpRequest, slug: str, scheme_id: int) -> HttpResponse:
    """Lay a version beside another one, of the same scheme or of another."""
    association, scheme = kept_association(request, slug), version_or_404(request, scheme_id)
    wanted = request.GET.get("with", "")
    other = version_or_404(request, int(wanted) if wanted.isdecimal() and len(wanted) < 10 else 0)
    context = {
        "association": association,
        "left": scheme,
        "right": other,
        "found": differences(scheme.document, other.document),
    }
    return render(request, "riders/scheme_compare.html", context)


@keepers_only
@require_POST
def switch(request: HttpRequest, slug: str, scheme_id: int, season_id: int) -> HttpResponse:
    """Have a season count by this version from now on."""
    association, scheme = kept_association(request, slug), version_or_404(request, scheme_id)
    seasons = policy.visible(request.user, Season.objects.filter(association=association))
    season = get_object_or_404(seasons.select_related("association", "scheme"), pk=season_id)
    seen = request.POST.get("instead_of", "")
    before = version_or_404(request, int(seen) if seen.isdecimal() and len(seen) < 10 else 0)
    try:
        under_way = switch_season(
            season, to=scheme, instead_of=before, by=account(request), reason=request.POST.get("reason", "")
        )
    except DomainError as refused:
        typed = {"message": refused.message, "switching": season.pk, "reason": request.POST.get("reason", "")[:400]}
        return _version(request, slug, scheme_id, **typed)
    if under_way is not None:
        messages.success(request, f"{season.title} counts by {scheme} as soon as its standings are worked out.")
        return redirect("season-rebuild", slug, season.slug)
    messages.success(request, f"{season.title} counts by {scheme} now. Its standings have been worked out anew.")
    return redirect("season", slug, season.slug)
