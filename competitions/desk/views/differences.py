"""The table of differences: looking at what was found, and deciding on it with a reason."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from competitions.desk.access import ClassDeskView
from competitions.desk.differences import KIND_WORDS, difference_table, lapsed, listed
from competitions.services.differences import (
    decide_all_findings,
    decide_finding,
    findings_of,
    findings_tag,
    lapsed_decisions,
)
from riders.errors import Conflict, DomainError, InvalidInput


class DifferencesView(ClassDeskView):
    """``desk-differences``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        key, reason = request.POST.get("key", ""), request.POST.get("reason", "")
        try:
            said = self._decide_all(reason) if request.POST.get("do") == "all" else self._decide(key, reason)
        except Conflict as error:
            return self._page(problem=error.message, key=key, reason=reason, status=409)
        except InvalidInput as error:
            return self._page(problem=error.message, key=key, reason=reason, status=422)
        except DomainError as error:
            self.cls.refresh_from_db()
            return self._page(problem=error.message, key=key, reason=reason, status=409)
        messages.success(request, said)
        page = reverse("desk-differences", args=[self.competition.slug, self.cls.number])
        return HttpResponseRedirect(f"{page}#undecided")

    def _decide(self, key: str, reason: str) -> str:
        figures = self.request.POST.get("figures", "")
        finding = decide_finding(self.cls, key, reason=reason, by=self.person, figures=figures, again=False)
        left = sum(not other.decided for other in findings_of(self.cls))
        many = f"{left} findings are" if left > 1 else "1 finding is"
        rest = f"{many} left." if left else "Nothing is left to decide."
        return f"Number {finding.number}, {KIND_WORDS[finding.kind]}: it stands. {rest}"

    def _decide_all(self, reason: str) -> str:
        seen = self.request.POST.get("seen", "")
        decided = decide_all_findings(self.cls, reason=reason, by=self.person, seen=seen)
        return f"{decided} findings stand." if decided > 1 else f"{decided} finding stands."

    def _page(self, *, problem: str = "", key: str = "", reason: str = "", status: int = 200) -> HttpResponse:
        findings = findings_of(self.cls)
        undecided = [finding for finding in findings if not finding.decided]
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "seats": list(self.cls.seats.select_related("judge")),
            "table": difference_table(self.cls, findings),
            "undecided": listed(self.cls, undecided),
            "decided": listed(self.cls, [finding for finding in findings if finding.decided]),
            "lapsed": lapsed(lapsed_decisions(self.cls, findings)),
            "seen": findings_tag(undecided),
            "reasons": sorted({finding.decision.reason for finding in findings if finding.decision}),
            "open": self.cls.open_for_changes,
            "problem": problem,
            "typed_key": key,
            "typed_reason": reason,
            "unplaced": reason if key and key not in {finding.key for finding in undecided} else "",
        }
        return render(self.request, "desk/differences.html", context, status=status)
