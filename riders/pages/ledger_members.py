"""The members of an association, for those who keep it: looked through, added, changed and removed."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from riders import policy
from riders.errors import DomainError, InvalidInput
from riders.intake import Problems, day_in
from riders.models import Association, Horse, Membership, MembershipChange, Rider
from riders.pages.ledger import ON_A_PAGE, account, keepers_only, query_of
from riders.services.memberships import (
    MembershipFields,
    add_membership,
    change_membership,
    membership_record,
    remove_membership,
)

_TYPED = ("kind", "member", "number", "division", "starts_on", "ends_on", "reason")
_MOST_NAMESAKES = 20


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def members(request: HttpRequest, slug: str) -> HttpResponse:
    """List the memberships of an association; a POST adds one."""
    association = _kept(request, slug)
    context: dict[str, Any] = {
        "association": association,
        "typed": {name: request.POST.get(name, "") for name in _TYPED},
    }
    if request.method == "POST":
        try:
            added = _add(request, association)
        except DomainError as refused:
            context |= _refused(refused)
        else:
            messages.success(
                request, f"{added.rider or added.horse} is a member. The open seasons are worked out anew."
            )
            return redirect("ledger-members", slug)
    asked = request.GET.get("q", "").strip()[:120].replace("\x00", "")
    context |= {
        "asked": asked,
        "query": query_of(q=asked),
        "page": Paginator(_found(request, association, asked), ON_A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "riders/ledger_members.html", context, status=422 if "problems" in context else 200)


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def membership(request: HttpRequest, slug: str, membership_id: int) -> HttpResponse:
    """Show one membership with its history; a POST changes or removes it."""
    association = _kept(request, slug)
    held = get_object_or_404(_found(request, association, ""), pk=membership_id)
    record = membership_record(held)
    context: dict[str, Any] = {"association": association, "held": held}
    context["typed"] = {"starts_on": record["from"], "ends_on": record["to"], **record}
    if request.method == "POST":
        context["typed"] |= {name: request.POST.get(name, "") for name in _TYPED}
        try:
            messages.success(request, _change(request, held))
        except DomainError as refused:
            context |= _refused(refused)
        else:
            return redirect("ledger-members", slug)
    changes = MembershipChange.objects.filter(membership=held.pk).select_related("by")
    context |= {"record": record, "changes": policy.visible(request.user, changes).order_by("-pk")}
    return render(request, "riders/ledger_membership.html", context, status=422 if "problems" in context else 200)


def _kept(request: HttpRequest, slug: str) -> Association:
    association = get_object_or_404(policy.visible(request.user, Association.objects.all()), slug=slug)
    if not policy.can(request.user, "change", association):
        raise PermissionDenied("Only those who keep this association see its members.")
    return association


def _found(request: HttpRequest, association: Association, asked: str) -> QuerySet[Membership]:
    rows = policy.visible(request.user, Membership.objects.filter(association=association))
    for word in asked.split()[:6]:
        rows = rows.filter(Q(rider__name__icontains=word) | Q(horse__name__icontains=word) | Q(number__icontains=word))
    return rows.select_related("rider", "horse", "association").order_by("number", "starts_on", "pk")


def _add(request: HttpRequest, association: Association) -> Membership:
    member = _member(request)
    return add_membership(
        association,
        member=member,
        fields=_fields(request),
        by=account(request),
        reason=request.POST.get("reason", ""),
    )


def _member(request: HttpRequest) -> Rider | Horse:
    """Return the rider or horse of that registration or exact name; several of a name have to be told apart."""
    model: type[Rider | Horse] = Horse if request.POST.get("kind") == Membership.Kind.HORSE else Rider
    asked = " ".join(request.POST.get("member", "").split()).replace("\x00", "")
    rows: list[Rider | Horse] = list(model._default_manager.filter(registration=asked)) if asked else []  # noqa: SLF001
    rows = rows or list(model._default_manager.filter(name=asked)[:_MOST_NAMESAKES])  # noqa: SLF001
    if len(rows) == 1:
        return rows[0]
    word = "rider" if model is Rider else "horse"
    sentence = (
        f"Several {word}s are called {asked}. Give the registration number of the one who is meant."
        if rows
        else f"No {word} has this registration or name. Check the spelling; new members come with a file."
    )
    raise InvalidInput(
        "The membership was not kept. Look at the fields that are named.", problems=[("member", sentence)]
    )


def _fields(request: HttpRequest) -> MembershipFields:
    problems: Problems = []
    days: dict[str, date | None] = {}
    for name, needed in (("starts_on", True), ("ends_on", False)):
        given = request.POST.get(name, "").strip()
        days[name] = day_in(given)
        if days[name] is None and (given or needed):
            problems.append((name, "Give the day as 2027-03-01."))
    starts_on = days["starts_on"]
    if problems or starts_on is None:
        raise InvalidInput("The membership was not kept. Look at the fields that are named.", problems=problems)
    return MembershipFields(
        number=request.POST.get("number", ""),
        division=request.POST.get("division", ""),
        starts_on=starts_on,
        ends_on=days["ends_on"],
    )


def _change(request: HttpRequest, held: Membership) -> str:
    before = {name: request.POST.get(f"before-{name}", "") for name in membership_record(held)}
    reason = request.POST.get("reason", "")
    member = held.rider or held.horse
    if request.POST.get("act") == "remove":
        remove_membership(held, before=before, by=account(request), reason=reason)
        return f"The membership of {member} has been removed. The open seasons are worked out anew."
    change_membership(held, fields=_fields(request), before=before, by=account(request), reason=reason)
    return f"The membership of {member} has been changed. The open seasons are worked out anew."


def _refused(refused: DomainError) -> dict[str, Any]:
    return {"problems": refused.fields, "message": refused.message}
