from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import DeskView
from competitions.desk.exchange import read_upload
from competitions.models import RuleSet, Test
from competitions.services.documents import save_rule_set, save_test
from riders.errors import DomainError, InvalidInput
from scoring.documents import InvalidDocument, load_json


class DocumentsView(DeskView):
    """``desk-documents``: tests and rule sets, listed and taken in; every problem is named by its path."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        return self._page({})

    def post(self, request: HttpRequest) -> HttpResponse:
        text, problems = read_upload(request)
        if not problems:
            try:
                kept = self._keep(load_json(text))
            except InvalidDocument as error:
                problems = [(problem.path or "document", problem.message) for problem in error.problems]
            except InvalidInput as error:
                problems = error.problems or [("document", error.message)]
            except DomainError as error:
                problems = [("document", error.message)]
            else:
                what = "test" if isinstance(kept, Test) else "rule set"
                messages.success(request, f"The {what} {kept.title} is kept under the id {kept.key}.")
                return redirect("desk-documents")
        return self._page({"text": text, "problems": problems}, status=422)

    @staticmethod
    def _keep(document: object) -> Test | RuleSet:
        """Keep a document as what its format says that it is."""
        named = document.get("format") if isinstance(document, dict) else None
        if named not in {"test/1", "rules/1"}:
            raise InvalidInput(
                "",
                problems=[("format", 'The document names no format known here. Give "format": "test/1" or "rules/1".')],
            )
        return save_test(document) if named == "test/1" else save_rule_set(document)

    def _page(self, context: dict[str, object], *, status: int = 200) -> HttpResponse:
        context |= {"tests": Test.objects.order_by("title", "pk"), "rule_sets": RuleSet.objects.order_by("title", "pk")}
        return render(self.request, "desk/documents.html", context, status=status)
