"""Results of other shows into the ledger: the page on which those who keep an association hand in a file."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from riders import policy
from riders.errors import DomainError, InvalidInput
from riders.intake import Problems
from riders.models import Association, User
from riders.services.bundle_import import import_bundle
from riders.services.ledger_import import import_scores
from scoring.documents import InvalidDocument, load_json

_MOST_BYTES = 20 * 1024 * 1024


@never_cache
@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def ledger_import(request: HttpRequest, slug: str) -> HttpResponse:
    """Take in a results bundle or a file of scores, all of it or nothing; the content says which of the two it is."""
    association = get_object_or_404(policy.visible(request.user, Association.objects.all()), slug=slug)
    if not policy.can(request.user, "change", association):
        raise PermissionDenied("Only those who keep the ledger of this association import scores into it.")
    context: dict[str, object] = {"association": association, "reason": request.POST.get("reason", "")}
    if request.method == "POST":
        text, problems = _sent(request)
        context["text"] = text
        if not problems:
            try:
                said = _take_in(text, association, by=cast("User", request.user), reason=str(context["reason"]))
            except InvalidInput as error:
                context["message"], problems = error.message, error.problems or [("file", error.message)]
            except DomainError as error:
                problems = [("file", error.message)]
            else:
                messages.success(request, said)
                return redirect("ledger-import", association.slug)
        context["problems"] = problems
    return render(request, "riders/ledger_import.html", context, status=422 if context.get("problems") else 200)


def _sent(request: HttpRequest) -> tuple[str, Problems]:
    """Return the text of the file, or else what was pasted, and what is wrong with it as a text."""
    upload = request.FILES.get("file")
    if upload is None:
        text = request.POST.get("text", "").replace("\r\n", "\n")
        nothing = [("file", "Nothing was sent. Choose a file, or paste its text into the box.")]
        return text, [] if text.strip() else nothing
    if upload.size is not None and upload.size > _MOST_BYTES:
        sentence = (
            f"{upload.name} has {upload.size} bytes. Send at most {_MOST_BYTES // 1024 // 1024} megabytes at once."
        )
        return "", [("file", sentence)]
    content = upload.read()
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        sentence = f"{upload.name} is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and send it again."
        return "", [("file", sentence)]


def _take_in(text: str, association: Association, *, by: User, reason: str) -> str:
    if _is_document(text):
        return str(import_bundle(text, association=association, by=by, reason=reason))
    return f"The file of scores is in the ledger: {import_scores(text, by=by, reason=reason.strip() or 'imported')}."


def _is_document(text: str) -> bool:
    """Tell a bundle, which is one JSON document, from scores as CSV or as one JSON object a line."""
    if not text.lstrip().startswith("{"):
        return False
    try:
        found = load_json(text)
    except InvalidDocument:
        return "score_id" not in text.lstrip().partition("\n")[0]
    return isinstance(found, dict) and "score_id" not in found
