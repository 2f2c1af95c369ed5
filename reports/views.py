"""The pages of a report: ask for it, see how far it is, take the file, try again."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from competitions.models import Championship, CompetitionClass
from reports import policy
from reports.kind import media_type_of
from reports.kinds import KINDS, PairSeason
from reports.models import Job
from reports.services import file_of, request_report, retry_job
from reports.year_end_sources import SeasonDocument
from riders.errors import DomainError, InvalidInput, NotAllowed


@require_POST
def request_page(request: HttpRequest) -> HttpResponse:
    """Ask for a report by form: ``kind``, ``target`` and the options of the kind; leads to its page.

    With ``stay`` back to the documents of its season, where several are asked for one after the other.
    """
    try:
        job = request_report(
            kind=request.POST.get("kind", ""),
            target=_number(request.POST.get("target", ""), "target"),
            options=_options(request),
            by=request.user,
        )
    except NotAllowed as refusal:
        if not request.user.is_authenticated:
            return redirect_to_login(request.META.get("HTTP_REFERER", "") or reverse("home"))
        return _refused(request, refusal, status=403)
    except DomainError as refusal:
        return _refused(request, refusal, status=422)
    subject = KINDS[job.kind].find(job.target, job.options)
    if "stay" in request.POST and isinstance(subject, SeasonDocument):
        return redirect("season-documents", subject.season.association.slug, subject.season.slug)
    return redirect("report", job_id=job.pk)


@never_cache
@require_safe
def report_page(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = _job(request, job_id)
    if isinstance(job, HttpResponse):
        return job
    part = request.headers.get("X-Part") == "state"
    template = "reports/_state.html" if part else "reports/report.html"
    return render(request, template, {"job": job, "kind": KINDS[job.kind], **_about(job)})


@require_safe
def file_page(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Hand out the file; one that is gone or damaged is made anew instead."""
    job = _job(request, job_id)
    if isinstance(job, HttpResponse):
        return job
    pages = file_of(job)
    if pages is None:
        retry_job(job, by=request.user)
        return redirect("report", job_id=job.pk)
    response = HttpResponse(pages, content_type=media_type_of(job.file_name))
    shown = job.file_name.endswith(".pdf") and "save" not in request.GET
    disposition = content_disposition_header(as_attachment=not shown, filename=job.file_name)
    response["Content-Disposition"] = disposition or "inline"
    response["Cache-Control"] = "private, no-cache"
    response["ETag"] = f'"{job.digest}"'
    return response


@require_POST
def retry_page(request: HttpRequest, job_id: UUID) -> HttpResponse:
    job = _job(request, job_id)
    if isinstance(job, HttpResponse):
        return job
    return redirect("report", job_id=retry_job(job, by=request.user).pk)


def _job(request: HttpRequest, job_id: UUID) -> Job | HttpResponse:
    """Return the job if this visitor may see it now; to others it does not exist, or they are asked to log in."""
    job = Job.objects.filter(pk=job_id).first()
    if job is not None and policy.can_view(request.user, job):
        return job
    if job is not None and not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    raise Http404


def _about(job: Job) -> dict[str, object]:
    """Return the subject of a report as a title and the address to go back to."""
    try:
        subject = KINDS[job.kind].find(job.target, job.options)
    except InvalidInput:
        subject = None
    if isinstance(subject, PairSeason):
        return {
            "subject": f"{subject.pair}, {subject.season.title}",
            "back": reverse("season", args=[subject.season.association.slug, subject.season.slug]),
        }
    if isinstance(subject, SeasonDocument):
        season = subject.season
        return {
            "subject": f"{season.title}, {season.association.title}",
            "back": reverse("season-documents", args=[season.association.slug, season.slug]),
        }
    if isinstance(subject, Championship):
        show = subject.competition
        return {
            "subject": f"{subject}, {show.title}",
            "back": reverse("championship", args=[show.slug, subject.slug]),
        }
    entry = getattr(subject, "entry", subject)
    competition_class = entry if isinstance(entry, CompetitionClass) else getattr(entry, "competition_class", None)
    if competition_class is None:
        return {"subject": "no longer there", "back": reverse("home")}
    competition = competition_class.competition
    ride = "" if entry is competition_class else f"{entry.pair}, "
    return {
        "subject": f"{ride}{competition_class}, {competition.title}",
        "back": reverse("board", args=[competition.slug, competition_class.number]),
    }


_NUMBERS = ("season", "edition", "table", "places")
_WORDS = ("format", "order", "of")


def _options(request: HttpRequest) -> dict[str, Any]:
    given = {name: request.POST.get(name, "").strip() for name in (*_NUMBERS, *_WORDS)}
    return {name: _number(value, name) if name in _NUMBERS else value for name, value in given.items() if value}


def _number(written: str, name: str) -> int:
    if written.isascii() and written.isdigit() and len(written) < 19:
        return int(written)
    raise InvalidInput(f'The {name} of a report is the id of something; "{written[:40]}" is none.', code="invalid-id")


def _refused(request: HttpRequest, refusal: DomainError, *, status: int) -> HttpResponse:
    return render(request, "reports/refused.html", {"message": refusal.message}, status=status)
