"""The ledger for those who keep it: finding scores, their history, correcting and retracting a single one."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.formats import date_format
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from riders import policy
from riders.errors import Conflict, DomainError
from riders.models import Merge, NameDecision, Score, User, WaitingImport
from riders.pages.pairs import address_of
from riders.selectors.histories import score_history
from riders.selectors.ledger import score_record
from riders.selectors.titles import give_titles
from riders.services.corrections import CORRECTABLE, correct_score, put_back_score, retract_score, version_of

ON_A_PAGE = 50
_P = ParamSpec("_P")
_View = Callable[Concatenate[HttpRequest, _P], HttpResponse]


def keepers_only(view: _View[_P]) -> _View[_P]:
    """Let only those in who keep the ledger of an association; nothing of these pages is kept by a browser."""

    @never_cache
    @login_required
    @wraps(view)
    def guarded(request: HttpRequest, /, *args: _P.args, **kwargs: _P.kwargs) -> HttpResponse:
        if not policy.keeps_a_ledger(request.user):
            raise PermissionDenied("Only those who keep the ledger of an association see this page.")
        return view(request, *args, **kwargs)

    return cast("_View[_P]", guarded)


def query_of(**asked: str) -> str:
    """Return what an address of the next page has to repeat."""
    return f"{urlencode({name: value for name, value in asked.items() if value})}&" if any(asked.values()) else ""


def account(request: HttpRequest) -> User:
    return cast("User", request.user)


@keepers_only
@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    asked = request.GET.get("q", "").strip()[:120].replace("\x00", "")
    page = Paginator(_found(request, asked), ON_A_PAGE).get_page(request.GET.get("page"))
    give_titles(page.object_list)
    return render(
        request,
        "riders/ledger_scores.html",
        {
            "asked": asked,
            "query": query_of(q=asked),
            "page": page,
            "associations": policy.associations_of(request.user),
            "waiting": policy.visible(request.user, WaitingImport.objects.filter(confirmed_at__isnull=True)).count(),
            "decisions": policy.visible(request.user, NameDecision.objects.filter(undone_at__isnull=True)).count(),
            "merges": policy.visible(request.user, Merge.objects.filter(undone_at__isnull=True)).count(),
        },
    )


def _found(request: HttpRequest, asked: str) -> QuerySet[Score]:
    scores = policy.visible(request.user, Score.objects.select_related("pair__rider", "pair__horse"))
    for word in asked.split()[:6]:
        scores = scores.filter(
            Q(pair__rider__name__icontains=word)
            | Q(pair__horse__name__icontains=word)
            | Q(competition__icontains=word)
            | Q(key__icontains=word)
        )
    return scores.order_by("-date", "competition", "class_name", "key")


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def score(request: HttpRequest, score_id: int) -> HttpResponse:
    """Show a score with its history; a POST corrects it, retracts it or puts it back in force."""
    scores = policy.visible(request.user, Score.objects.select_related("pair__rider", "pair__horse"))
    found = get_object_or_404(scores, pk=score_id)
    context: dict[str, Any] = {"score": found, "typed": {}, "reason": "", "problems": []}
    if request.method == "POST":
        context["reason"] = request.POST.get("reason", "")
        context["typed"] = {name: request.POST[name] for name in CORRECTABLE if name in request.POST}
        try:
            messages.success(request, _do(request, found))
        except DomainError as refused:
            context["problems"] = _problems(refused)
            found.refresh_from_db()
        else:
            return redirect("ledger-score", found.pk)
    give_titles([found])
    record = score_record(found)
    context |= {
        "lines": score_history(found),
        "version": version_of(found),
        "may_change": policy.can(request.user, "change", found) and found.source == Score.Source.IMPORT,
        "fields": [(name, _label(name), context["typed"].get(name, record[name])) for name in CORRECTABLE],
        "record": [(_label(name), _as_read(name, value)) for name, value in record.items() if value],
        "address": address_of(found),
    }
    return render(request, "riders/ledger_score.html", context, status=409 if context["problems"] else 200)


def _as_read(name: str, value: str) -> str:
    """Write a field of a score for a reader; files and corrections have days and answers as ``scores/1`` has them."""
    if name == "date":
        return date_format(date.fromisoformat(value), "j F Y")
    if name == "percentage":
        return f"{value} %"
    return value.replace(";", ", ") if name == "judges" else {"true": "yes", "false": "no"}.get(value, value)


def _do(request: HttpRequest, found: Score) -> str:
    if not policy.can(request.user, "change", found):
        raise PermissionDenied("Only imported scores are corrected here.")
    given = request.POST.get("version", "")
    version = int(given) if given.isdecimal() and len(given) < 18 else 0
    more: dict[str, Any] = {
        "expected_version": version,
        "by": account(request),
        "reason": request.POST.get("reason", ""),
    }
    act = request.POST.get("act")
    if act == "retract":
        retract_score(found, **more)
        return f"The score {found.key} has been retracted. Standings no longer count it."
    if act == "put-back":
        put_back_score(found, **more)
        return f"The score {found.key} is in force again."
    record = score_record(found)
    typed = {name: request.POST[name] for name in CORRECTABLE if name in request.POST}
    correct_score(found, changes={name: value for name, value in typed.items() if value != record[name]}, **more)
    return f"The score {found.key} has been corrected, and the standings follow."


def _problems(refused: DomainError) -> list[tuple[str, str]]:
    if isinstance(refused, Conflict):
        return [("", refused.message)]
    listed = [(_label(name), sentence) for name, sentences in refused.fields.items() for sentence in sentences]
    return listed or [("", refused.message)]


def _label(name: str) -> str:
    return {"score_id": "Score"}.get(name, name.replace("_", " ").capitalize())
