"""The documents of a season: what can be asked for, and how far what was asked for has come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from reports import policy
from reports.kinds import KINDS
from reports.models import Job
from reports.year_end_kinds import NOT_FINAL, YEAR_END
from riders import policy as rider_policy
from riders.models import Season, SeasonEdition
from riders.selectors.editions import edition_in_force
from riders.selectors.season_lists import list_head

MOST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class DocumentLine:
    """A document that was asked for: what it is, in words, and its job."""

    job: Job
    title: str


@never_cache
@require_safe
def page(request: HttpRequest, slug: str, season_slug: str) -> HttpResponse:
    """Show forms to ask for documents and what was asked for; with ``X-Part`` only the latter, which is polled."""
    seasons = rider_policy.visible(request.user, Season.objects.select_related("association", "scheme"))
    season = get_object_or_404(seasons, association__slug=slug, slug=season_slug)
    context: dict[str, Any] = {"season": season, "lines": _lines(request, season)}
    if request.headers.get("X-Part") == "state":
        return render(request, "reports/_season_documents.html", context)
    edition = edition_in_force(season)
    head = edition.head if edition else list_head(season)
    editions = SeasonEdition.objects.filter(season=season).defer("scores", "head").order_by("-number")
    context |= {
        "edition": edition,
        "keeps": rider_policy.can(request.user, "change", season),
        "editions": rider_policy.visible(request.user, editions),
        "choice": editions.count() > (1 if edition else 0),
        "tables": list(enumerate(head["tables"])),
        "placed": head["mode"] == "rank",
        "awards": head["mode"] == "rank" or bool(head["tiers"]),
        "not_final": NOT_FINAL,
    }
    return render(request, "reports/season_documents.html", context)


def _lines(request: HttpRequest, season: Season) -> list[DocumentLine]:
    jobs = Job.objects.filter(target=season.pk, kind__in=[kind.name for kind in YEAR_END])
    found: list[DocumentLine] = []
    for job in jobs.order_by("-requested_at", "pk")[: 2 * MOST_SHOWN]:
        if len(found) < MOST_SHOWN and policy.can_view(request.user, job):
            found.append(DocumentLine(job, _title(job)))
    return found


def _title(job: Job) -> str:
    """Say which document a job makes, from what was asked for."""
    options = job.options
    title = KINDS[job.kind].title
    if "of" in options:
        title = f"{title} for the {options['of']}"
    parts = [
        title,
        f"edition {options['edition']}" if options.get("edition") else "not final",
        f"the first {options['places']} places" if "places" in options else "",
        f"table {options['table'] + 1}" if "table" in options else "",
        "by standings" if options.get("order") == "standings" else "",
        str(options.get("format", "pdf")).upper(),
    ]
    return ", ".join(part for part in parts if part)
