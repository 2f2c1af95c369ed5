"""Making results official, correcting and withdrawing them, and what was done before."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView
from competitions.desk.checks import checks_of
from competitions.desk.history import result_changes, result_history
from competitions.desk.overview import overview_of
from competitions.desk.setuphistory import class_history
from competitions.models import ClassResults, PublishedResults
from competitions.selectors.board import Board, board_for
from competitions.selectors.documents import class_document
from competitions.services.differences import findings_of
from competitions.services.results import cancel_correction, make_official, start_correction, withdraw_results
from riders.errors import DomainError, InvalidInput


class OfficialView(ClassDeskView):
    """``desk-official``: the checks before results become official, and the button that makes them so."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        checks = checks_of(overview_of(self.cls))
        if request.POST.get("version") != str(self.cls.version):
            return self._page(
                problem="The class has changed since this page was shown. Look again, then confirm.", status=409
            )
        if any(not check.stops for check in checks) and request.POST.get("looked") != "yes":
            sentence = "Some checks ask to be looked at. Tick that you have looked at them, then confirm again."
            return self._page(problem=sentence, status=422)
        try:
            published = make_official(self.cls, by=self.person)
        except InvalidInput as error:
            return self._page(problem=error.message, status=422)
        except DomainError as error:
            return self._page(problem=error.message, status=409)
        messages.success(
            request, f"The results of class {self.cls.number} are official, revision {published.revision}."
        )
        return redirect("desk-class", self.competition.slug, self.cls.number)

    def _page(self, *, problem: str = "", status: int = 200) -> HttpResponse:
        overview = overview_of(self.cls)
        checks = checks_of(overview)
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "overview": overview,
            "stopping": [check for check in checks if check.stops],
            "looking": [check for check in checks if not check.stops],
            "board": self._board(),
            "changes": self._changes(),
            "decided": sum(finding.decided for finding in findings_of(self.cls)),
            "problem": problem,
            "open": self.cls.open_for_changes,
        }
        return render(self.request, "desk/official.html", context, status=status)

    def _board(self) -> Board:
        """Return the results as computed last, also while a correction is open and the official ones stay posted."""
        results = ClassResults.objects.filter(competition_class=self.cls).first()
        if self.cls.correction_reason and results is not None:
            draft = PublishedResults(
                competition_class=self.cls,
                revision=self.cls.revision + 1,
                class_document=class_document(self.cls),
                document=results.document,
            )
            return board_for(self.cls, published=draft, everyone=True)
        return board_for(self.cls, everyone=True)

    def _changes(self) -> list[object]:
        """Return what a correction changes against the official results, line by line."""
        official = self.cls.published.first()
        results = ClassResults.objects.filter(competition_class=self.cls).first()
        if official is None or results is None:
            return []
        names = {
            entry.number: str(entry.pair) for entry in self.cls.entries.select_related("pair__rider", "pair__horse")
        }
        return list(result_changes(official.document, results.document, names))


class CorrectionView(ClassDeskView):
    """``desk-correction``: open official results for a correction with a reason, or close it unused."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        reason = request.POST.get("reason", "")
        try:
            if request.POST.get("do") == "cancel":
                cancel_correction(self.cls, by=self.person)
                messages.success(request, "The correction is closed; the official results stand as they were.")
            else:
                start_correction(self.cls, by=self.person, reason=reason)
                messages.success(
                    request,
                    "The correction is open. Change what was wrong, then make the results official again. "
                    "Until then the last official results stay posted.",
                )
        except DomainError as error:
            messages.error(request, error.message)
            return history_page(self, reason=reason, status=422)
        return redirect("desk-class", self.competition.slug, self.cls.number)


class WithdrawView(ClassDeskView):
    """``desk-withdraw``: take official results back, with a reason."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        reason = request.POST.get("reason", "")
        try:
            withdraw_results(self.cls, by=self.person, reason=reason)
        except DomainError as error:
            messages.error(request, error.message)
            return history_page(self, withdraw_reason=reason, status=422)
        messages.success(request, "The results are withdrawn and their scores have left the ledger.")
        return redirect("desk-class", self.competition.slug, self.cls.number)


class ResultHistoryView(ClassDeskView):
    """``desk-results-history``: every official revision with its difference, and what was done to the class."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return history_page(self)


def history_page(
    view: ClassDeskView, *, reason: str = "", withdraw_reason: str = "", status: int = 200
) -> HttpResponse:
    context = {
        "competition": view.competition,
        "cls": view.cls,
        "revisions": result_history(view.cls),
        "changes": class_history(view.cls),
        "reason": reason,
        "withdraw_reason": withdraw_reason,
    }
    return render(view.request, "desk/history.html", context, status=status)
