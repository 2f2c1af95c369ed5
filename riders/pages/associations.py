"""Associations and the seasons that they keep."""

from __future__ import annotations

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
    context = {"association": association, "seasons": seasons, "keeps": keeps}
    return render(request, "riders/association.html", context)
