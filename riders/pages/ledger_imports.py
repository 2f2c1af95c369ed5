"""Files of scores handed in: looked at, their names decided on, then confirmed as shown."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from riders import policy
from riders.errors import Conflict, DomainError, InvalidInput
from riders.models import Horse, NameDecision, Rider, WaitingImport
from riders.pages.ledger import ON_A_PAGE, account, keepers_only, query_of
from riders.services.ledger_preview import OpenName, Preview
from riders.services.matching import undo_decision
from riders.services.waiting_imports import (
    Decision,
    confirm_import,
    decide_names,
    hand_in,
    preview_of,
    take_away,
    work_out_again,
)

NAMES_ON_A_PAGE = 100
_WHAT = ("posted", "corrected", "retracted", "duplicate")
_MOST_PROBLEMS = 500


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """List files that wait and that were imported; a POST hands one in."""
    context: dict[str, Any] = {name: request.POST.get(name, "") for name in ("source", "text")}
    if request.method == "POST":
        upload = request.FILES.get("file")
        content = upload.read() if upload else context["text"].replace("\r\n", "\n").encode("utf-8", "replace")
        try:
            waiting = hand_in(
                content,
                source=context["source"],
                file_name=str(upload.name) if upload else "",
                by=account(request),
            )
        except InvalidInput as refused:
            context["problems"] = [sentence for sentences in refused.fields.values() for sentence in sentences]
        else:
            return redirect("ledger-preview", waiting.pk)
    rows = policy.visible(request.user, WaitingImport.objects.defer("content", "preview")).select_related(
        "by", "confirmed_by"
    )
    context["page"] = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    sources = (
        policy.visible(request.user, NameDecision.objects.all())
        .exclude(source="")
        .order_by("source")
        .values_list("source", flat=True)
        .distinct()
    )
    context["sources"] = sources[:100]
    return render(request, "riders/ledger_waiting.html", context, status=422 if context.get("problems") else 200)


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def preview(request: HttpRequest, import_id: int) -> HttpResponse:
    """Show what a file would change; a POST decides on names, confirms, works it out again or takes it away."""
    waiting = get_object_or_404(policy.visible(request.user, WaitingImport.objects.all()), pk=import_id)
    problems: list[str] = []
    if request.method == "POST":
        try:
            return _act(request, waiting)
        except Conflict as refused:
            problems = [refused.message]
            waiting.refresh_from_db()
        except DomainError as refused:
            problems = [refused.message]
    if waiting.confirmed_at is not None:
        return render(request, "riders/ledger_imported.html", {"waiting": waiting, "counts": waiting.summary})
    return _shown(request, waiting, preview_of(waiting), problems)


def _shown(request: HttpRequest, waiting: WaitingImport, found: Preview, problems: list[str]) -> HttpResponse:
    counts = found.counts
    what = request.GET.get("what", "")
    if what not in _WHAT:
        what = next((name for name in _WHAT if counts[name]), "posted")
    open_names = found.to_decide
    context = {
        "waiting": waiting,
        "found": found,
        "counts": counts,
        "what": what,
        "query": query_of(what=what),
        "tabs": [(name, counts[name]) for name in _WHAT],
        "page": Paginator(found.of(what), ON_A_PAGE).get_page(request.GET.get("page")),
        "names": list(enumerate(open_names[:NAMES_ON_A_PAGE])),
        "open_names": len(open_names),
        "new_names": found.new_names[:NAMES_ON_A_PAGE],
        "new_count": len(found.new_names),
        "file_problems": found.problems[:_MOST_PROBLEMS],
        "problems": problems,
        "reason": request.POST.get("reason", ""),
        "ready": not found.problems and not open_names and bool(found.changes),
    }
    return render(request, "riders/ledger_preview.html", context, status=409 if problems else 200)


def _act(request: HttpRequest, waiting: WaitingImport) -> HttpResponse:
    act = request.POST.get("act")
    if act == "take-away":
        take_away(waiting)
        messages.success(request, "The file has been taken away. Nothing of it has reached the ledger.")
        return redirect("ledger-imports")
    if act == "confirm":
        confirm_import(
            waiting,
            digest=request.POST.get("digest", ""),
            state=request.POST.get("state", ""),
            by=account(request),
            reason=request.POST.get("reason", "")[:300],
        )
        messages.success(request, "The file has been imported as it was shown.")
    elif act == "names":
        decisions = _decisions(request, preview_of(waiting).to_decide)
        if not decisions:
            raise InvalidInput("Nothing was chosen. Say of a name who is meant, then keep the decisions.")
        decide_names(waiting, decisions, by=account(request))
        messages.success(request, f"{len(decisions)} {'name is' if len(decisions) == 1 else 'names are'} decided on.")
    else:
        work_out_again(waiting, by=account(request))
        messages.success(request, "Worked out again from the ledger as it stands now.")
    return redirect("ledger-preview", waiting.pk)


def _decisions(request: HttpRequest, names: list[OpenName]) -> list[Decision]:
    """Return what was chosen for each name of the form; only those that were proposed for it can be chosen."""
    models: dict[str, type[Rider | Horse]] = {"rider": Rider, "horse": Horse}
    wanted = {(name.kind, name.spelling): name for name in names}
    found: list[Decision] = []
    for position in range(NAMES_ON_A_PAGE):
        place = (request.POST.get(f"kind-{position}", ""), request.POST.get(f"spelling-{position}", ""))
        chosen, name = request.POST.get(f"choice-{position}", ""), wanted.get(place)
        if name is None or not chosen:
            continue
        if chosen == "new":
            found.append((*place, None))
        elif chosen in {str(proposal.id) for proposal in name.proposals}:
            member = models[name.kind]._default_manager.filter(pk=int(chosen)).first()  # noqa: SLF001
            if member is None:
                raise Conflict(f"The {name.kind} chosen for {name.spelling} is not there any more. Work it out again.")
            found.append((*place, member))
    return found


@keepers_only
@require_safe
def names(request: HttpRequest) -> HttpResponse:
    """List the decisions on names, the latest first."""
    rows = policy.visible(request.user, NameDecision.objects.select_related("rider", "horse", "by", "undone_by"))
    page = Paginator(rows.order_by("-pk"), ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "riders/ledger_names.html", {"page": page})


@keepers_only
@require_http_methods(["POST"])
def undo_name(request: HttpRequest, decision_id: int) -> HttpResponse:
    decision = get_object_or_404(policy.visible(request.user, NameDecision.objects.all()), pk=decision_id)
    try:
        undo_decision(decision, by=account(request))
    except DomainError as refused:
        messages.error(request, refused.message)
    else:
        messages.success(
            request,
            f'The decision on "{decision.spelling}" is undone. Import the same file again to correct scores that were '
            "posted on the strength of it.",
        )
    return redirect("ledger-names")
