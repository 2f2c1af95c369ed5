"""One rider or horse, for those who keep a ledger: with whom, under which names, and another name given."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from riders import policy
from riders.errors import Conflict, DomainError
from riders.models import Horse, NameChange, Rider
from riders.pages.ledger import account, keepers_only
from riders.services.renames import LONGEST, rename

_MODELS: dict[str, type[Rider | Horse]] = {"rider": Rider, "horse": Horse}


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, kind: str, member_id: int) -> HttpResponse:
    """Show a rider or horse with its pairs and the names it had; a POST gives it another name."""
    rows: QuerySet[Any] = policy.visible(request.user, _MODELS[kind]._default_manager.all())  # noqa: SLF001 - Django's name
    found: Rider | Horse = get_object_or_404(rows, pk=member_id)
    context: dict[str, Any] = {"typed": found.name, "reason": "", "longest": LONGEST}
    status = 200
    if request.method == "POST":
        context |= {name: request.POST.get(field, "") for name, field in (("typed", "name"), ("reason", "reason"))}
        try:
            return _renamed(request, found, kind)
        except DomainError as refused:
            status = 409 if isinstance(refused, Conflict) else 422
            context["problem"] = refused.message
            found.refresh_from_db()
    pairs = found.pairs.select_related("rider", "horse").order_by("rider__name", "horse__name", "pk")
    names = NameChange.objects.filter(kind=kind, member=found.pk).select_related("by").order_by("-pk")
    context |= {"found": found, "kind": kind, "pairs": pairs, "may_change": policy.can(request.user, "change", found)}
    context["names"] = names
    return render(request, "riders/ledger_person.html", context, status=status)


def _renamed(request: HttpRequest, found: Rider | Horse, kind: str) -> HttpResponse:
    if not policy.can(request.user, "change", found):
        raise PermissionDenied(f"This {kind} concerns no association that you keep. Ask staff to mend the name.")
    done = rename(
        found,
        name=request.POST.get("name", ""),
        before=request.POST.get("before", ""),
        by=account(request),
        reason=request.POST.get("reason", ""),
    )
    messages.success(request, f"{done.before} is now {done.after}. Boards, documents and open standings follow.")
    return redirect(f"ledger-{kind}", found.pk)
