"""The editor of a draft: every press of a button and every pause in typing keeps it; saved, it is the next version."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from riders import policy
from riders.errors import Conflict, DomainError, InvalidInput
from riders.models import Scheme, SchemeDraft, Season
from riders.pages.ledger import keepers_only
from riders.pages.scheme_form import SchemeForm, draw_scheme, read_scheme_form
from riders.pages.scheme_library import drafts_of, kept_association, version_or_404
from riders.pages.scheme_nodes import Shown, Typed
from riders.selectors.scheme_library import vocabulary_of
from riders.services.scheme_differences import differences
from riders.services.scheme_drafts import discard_draft, go_on_from, keep_draft, save_draft
from scoring.documents import InvalidDocument, load_json
from scoring.season.drafting import read_draft
from scoring.season.scheme import is_too_deep

_NOT_THE_FORM = "The form did not come whole, so nothing was kept. Reload the page; what was kept before is there."


@keepers_only
@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest, slug: str, draft_id: int) -> HttpResponse:
    """Show a draft as a form; a POST keeps what is typed, does what the pressed button says, and may save."""
    association = kept_association(request, slug)
    found = get_object_or_404(drafts_of(request, association), pk=draft_id)
    if request.method != "POST":
        return _shown(request, found, found.document)
    act = request.POST.get("act", "")
    document: Any = found.document
    try:
        document = _read(request, act)
        found = keep_draft(found, document, seen=_seen(request, found, overwrite=act == "overwrite"))
    except Conflict as refused:
        return _in_two_windows(request, found, document, refused)
    except InvalidInput as refused:
        return _refused(request, found, refused, document)
    return _save(request, found) if act == "save" else _kept(request, found, act)


def _kept(request: HttpRequest, found: SchemeDraft, act: str) -> HttpResponse:
    if request.headers.get("X-Part") == "editor":
        return _parts(request, found, whole=act not in ("", "keep"))
    return redirect(f"{reverse('scheme-draft', args=[found.association.slug, found.pk])}{_anchor(act)}")


@keepers_only
@require_POST
def follow(request: HttpRequest, slug: str, draft_id: int, scheme_id: int) -> HttpResponse:
    """Go on with a draft after a version that somebody else has saved and that has been looked at."""
    association = kept_association(request, slug)
    found = get_object_or_404(drafts_of(request, association), pk=draft_id)
    later = version_or_404(request, scheme_id)
    if later.key == found.key:
        go_on_from(found, later)
        messages.success(request, f"Saved, your draft becomes the version after version {later.version}.")
    return redirect("scheme-draft", slug, draft_id)


@keepers_only
@require_POST
def discard(request: HttpRequest, slug: str, draft_id: int) -> HttpResponse:
    """Throw a draft away."""
    association = kept_association(request, slug)
    discard_draft(get_object_or_404(drafts_of(request, association), pk=draft_id))
    messages.success(request, "The draft is gone. Saved versions are as they were.")
    return redirect("schemes", slug)


def _read(request: HttpRequest, act: str) -> Any:
    try:
        base = load_json(request.POST.get("base", ""))
    except InvalidDocument:
        raise InvalidInput(_NOT_THE_FORM) from None
    if not isinstance(base, dict) or is_too_deep(base):
        raise InvalidInput(_NOT_THE_FORM)
    return read_scheme_form(base, Typed({name: str(text) for name, text in request.POST.items()}, act))


def _seen(request: HttpRequest, found: SchemeDraft, *, overwrite: bool) -> int:
    seen = request.POST.get("seen", "")
    if overwrite:
        return found.version
    return int(seen) if seen.isascii() and seen.isdecimal() and len(seen) < 10 else 0


def _anchor(act: str) -> str:
    """Return where on the page the block is that a button was about, or the list around it."""
    verb, _, path = act.partition(" ")
    if verb == "add":
        path = path.rpartition(" ")[0]
    elif verb in ("up", "down", "remove"):
        path = path[: path.rfind("[")]
    elif verb not in ("put", "row"):
        return ""
    return f"#{Shown('', path).id}-label"


def _save(request: HttpRequest, found: SchemeDraft) -> HttpResponse:
    reason = request.POST.get("reason", "")
    try:
        scheme = save_draft(found, reason=reason)
    except Conflict as refused:
        later = refused.current
        if isinstance(later, Scheme) and found.based_on is not None:
            return _saved_meanwhile(request, found, later, refused)
        return _shown(request, found, found.document, refused=refused, reason=reason, status=409)
    except DomainError as refused:
        return _shown(request, found, found.document, refused=refused, reason=reason, status=422)
    messages.success(
        request,
        f"Version {scheme.version} of {scheme.title} is saved. Seasons go on counting by the version they have until "
        "you give them this one, below.",
    )
    return redirect("scheme-version", found.association.slug, scheme.pk)


def _saved_meanwhile(request: HttpRequest, found: SchemeDraft, later: Scheme, refused: Conflict) -> HttpResponse:
    """Show the version that somebody else has saved beside the person's own."""
    context = {
        "association": found.association,
        "draft": found,
        "later": later,
        "message": refused.message,
        "found": differences(later.document, found.document),
        "since": differences(found.based_on.document, later.document) if found.based_on else None,
    }
    return render(request, "riders/scheme_meanwhile.html", context, status=409)


def _in_two_windows(request: HttpRequest, found: SchemeDraft, document: Any, refused: Conflict) -> HttpResponse:
    current = refused.current
    if request.headers.get("X-Part") == "editor":
        return JsonResponse({"message": refused.message}, status=409)
    if not isinstance(current, SchemeDraft):
        messages.error(request, refused.message)
        return redirect("schemes", found.association.slug)
    context = {
        "association": found.association,
        "draft": current,
        "message": refused.message,
        "found": differences(current.document, document),
        "names": [(name, text) for name, text in request.POST.items() if name not in ("csrfmiddlewaretoken", "act")],
    }
    return render(request, "riders/scheme_windows.html", context, status=409)


def _refused(request: HttpRequest, found: SchemeDraft, refused: InvalidInput, document: Any) -> HttpResponse:
    if request.headers.get("X-Part") == "editor":
        return JsonResponse({"message": refused.message}, status=422)
    return _shown(request, found, document, refused=refused, status=422)


def _shown(
    request: HttpRequest,
    found: SchemeDraft,
    document: Any,
    *,
    refused: DomainError | None = None,
    reason: str = "",
    status: int = 200,
) -> HttpResponse:
    context = _context(request, found, document) | {"refused": refused, "reason": reason}
    return render(request, "riders/scheme_editor.html", context, status=status)


def _context(request: HttpRequest, found: SchemeDraft, document: Any) -> dict[str, Any]:
    state = read_draft(document)
    form = draw_scheme(document, problems=state.problems, vocabulary=vocabulary_of(found.association))
    seasons = policy.visible(request.user, Season.objects.filter(association=found.association))
    return {
        "association": found.association,
        "draft": found,
        "form": form,
        "base": json.dumps(document, ensure_ascii=False),
        "state": state,
        "faults": _faults(form),
        "later": _later(found),
        "seasons": seasons.select_related("scheme").order_by("-starts_on", "pk"),
    }


def _later(found: SchemeDraft) -> Scheme | None:
    """Return the version that somebody has saved since the draft was begun."""
    if found.based_on is None:
        return None
    return Scheme.objects.filter(key=found.key, version__gt=found.based_on.version).order_by("-version").first()


def _faults(form: SchemeForm) -> list[tuple[str, str, str]]:
    """Return every problem with the block that it stands at, in the order of the form."""
    found = [("", "", message) for message in form.problems]
    for shown in form.shown.values():
        found += [(shown.id, shown.label, message) for message in shown.problems]
    return found


def _parts(request: HttpRequest, found: SchemeDraft, *, whole: bool) -> JsonResponse:
    context = _context(request, found, found.document)
    parts: dict[str, Any] = {
        "version": found.version,
        "beside": render_to_string("riders/_scheme_beside.html", context, request),
        "problems": {shown.id: shown.problems for shown in context["form"].shown.values() if shown.problems},
    }
    if whole:
        parts["form"] = render_to_string("riders/_scheme_form.html", context, request)
    return JsonResponse(parts)
