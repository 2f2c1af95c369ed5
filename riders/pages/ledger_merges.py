"""Riders, horses and pairs that stand here twice: found, compared, merged, and made two again."""

from __future__ import annotations

from itertools import islice
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from riders import policy
from riders.errors import DomainError
from riders.models import Horse, Merge, Pair, Rider
from riders.pages.ledger import ON_A_PAGE, account, keepers_only, query_of
from riders.services.matching import normalised
from riders.services.merges import merge, plan_merge, undo_merge

_MODELS: dict[str, type[Rider | Horse | Pair]] = {"rider": Rider, "horse": Horse, "pair": Pair}
_MOST_FOUND = 40


@keepers_only
@require_safe
def merges(request: HttpRequest) -> HttpResponse:
    """List merges, and find the two that are to be one."""
    kind = request.GET.get("kind", "rider")
    kind = kind if kind in _MODELS else "rider"
    asked = request.GET.get("q", "").strip()[:120].replace("\x00", "")
    rows = policy.visible(request.user, Merge.objects.defer("steps").select_related("by", "undone_by"))
    found = [(row, *_about(row)) for row in _found(request, kind, asked)[:_MOST_FOUND]] if asked else []
    context = {
        "kind": kind,
        "kinds": list(_MODELS),
        "asked": asked,
        "query": query_of(kind=kind, q=asked),
        "found": found,
        "page": Paginator(rows.order_by("-pk"), ON_A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "riders/ledger_merges.html", context)


def _found(request: HttpRequest, kind: str, asked: str) -> QuerySet[Any]:
    rows: QuerySet[Any] = policy.visible(request.user, _MODELS[kind]._default_manager.all())  # noqa: SLF001
    words = asked.split()[:6]
    if kind == "pair":
        for word in words:
            rows = rows.filter(Q(rider__name__icontains=word) | Q(horse__name__icontains=word) | Q(key__icontains=word))
    else:
        rows = rows.filter(pk__in=_named_like(rows, words))
    return (
        rows.select_related("rider", "horse")
        if kind == "pair"
        else rows.prefetch_related("pairs__rider", "pairs__horse")
    )


def _named_like(rows: QuerySet[Any], words: list[str]) -> list[int]:
    """Return who has all of this in name or registration, whatever its case and accents: doubles often differ so."""
    asked = [(normalised(word), word.casefold()) for word in words]
    found = (
        number
        for number, name, registration in rows.order_by("name", "pk").values_list("pk", "name", "registration")
        if all((form and form in normalised(name)) or word in registration.casefold() for form, word in asked)
    )
    return list(islice(found, _MOST_FOUND))


def _about(row: Rider | Horse | Pair) -> tuple[str, str]:
    """Return what tells a row from its namesakes: its number, and with whom it is."""
    if isinstance(row, Pair):
        return row.key, ""
    others = [pair.horse.name if isinstance(row, Rider) else pair.rider.name for pair in row.pairs.all()]
    born = f", born in {row.born}" if isinstance(row, Horse) and row.born else ""
    said = ", ".join(others[:4]) + (f" and {len(others) - 4} more" if len(others) > 4 else "")
    return (row.registration or "no registration") + born, f"with {said}" if said else "in no pair"


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest) -> HttpResponse:
    """Compare two and say what a merge would move; a POST carries it out."""
    asked = request.POST if request.method == "POST" else request.GET
    kind = asked.get("kind", "")
    if kind not in _MODELS:
        raise Http404
    kept, gone = (_one(request, kind, asked.get(name, "")) for name in ("kept", "gone"))
    context: dict[str, Any] = {"kind": kind, "kept": kept, "gone": gone, "reason": request.POST.get("reason", "")}
    context["may_merge"] = policy.may_merge(request.user, kept, gone)
    if request.method == "POST":
        if not context["may_merge"]:
            raise PermissionDenied("Neither of the two concerns an association that you keep. Ask staff to merge them.")
        try:
            done = merge(kept, gone, by=account(request), reason=context["reason"])
        except DomainError as refused:
            context["problem"] = refused.message
        else:
            messages.success(request, f"{done.gone_name} has been merged into {done.kept_name}.")
            return redirect("ledger-merge", done.pk)
    context |= {"plan": plan_merge(kept, gone), "about_kept": _about(kept), "about_gone": _about(gone)}
    return render(request, "riders/ledger_plan.html", context, status=409 if "problem" in context else 200)


def _one(request: HttpRequest, kind: str, number: str) -> Rider | Horse | Pair:
    if not number.isdecimal() or len(number) > 18:
        raise Http404
    found: Rider | Horse | Pair = get_object_or_404(_found(request, kind, ""), pk=int(number))
    return found


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def one_merge(request: HttpRequest, merge_id: int) -> HttpResponse:
    """Show a merge with everything that it moved; a POST undoes it."""
    done = get_object_or_404(policy.visible(request.user, Merge.objects.select_related("by", "undone_by")), pk=merge_id)
    context: dict[str, Any] = {"done": done, "reason": request.POST.get("reason", "")}
    if request.method == "POST":
        try:
            undo_merge(done, by=account(request), reason=context["reason"])
        except DomainError as refused:
            context["problem"] = refused.message
        else:
            messages.success(request, f"{done.gone_name} and {done.kept_name} are two again.")
            return redirect("ledger-merge", done.pk)
    context["steps"] = [_said(step) for step in done.steps]
    return render(request, "riders/ledger_merge.html", context, status=409 if "problem" in context else 200)


_SAID = {
    "entry": ("entry", "entries"),
    "standingrow": ("row of standings", "rows of standings"),
    "namedecision": ("decision on a name", "decisions on names"),
}
_FIELDS = {"user_id": "account", "apart": "what tells namesakes apart"}


def _said(step: dict[str, Any]) -> str:
    name = step["model"].partition(".")[2]
    if step["do"] == "move":
        rows = step["rows"]
        numbers = ", ".join(str(row) for row in rows[:20]) + (f" and {len(rows) - 20} more" if len(rows) > 20 else "")
        one, more = _SAID.get(name, (name, f"{name}s"))
        return f"{len(rows)} {one if len(rows) == 1 else more} moved (no. {numbers})."
    if step["do"] == "remove":
        known = step["values"].get("name") or step["values"].get("key")
        return f"The {name} {known} (no. {step['row']}) taken out, and kept here whole."
    fields = ", ".join(_FIELDS.get(field, field.removesuffix("_id")) for field in step["after"])
    return f"Filled in of the {name} that stayed: {fields}."
