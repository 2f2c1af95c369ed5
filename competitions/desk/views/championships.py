from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from competitions.desk.access import CompetitionDeskView
from competitions.desk.championshiprule import ChampionshipForms
from competitions.models import Championship, ChampionshipChange
from competitions.services.championships import create_championship, delete_championship, update_championship
from riders.errors import Conflict, DomainError, InvalidInput


class ChampionshipFormView(CompetitionDeskView):
    """Sets up or changes a championship. A rule is saved once its sentences have been shown as they would be saved."""

    http_method_names = ["get", "post", "head", "options"]
    championship: Championship | None = None

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page(ChampionshipForms(self.competition, championship=self.championship))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        typed = ChampionshipForms(self.competition, championship=self.championship, data=request.POST)
        if request.headers.get("X-Part") == "rule":
            return render(request, "desk/championship_rule.html", {"typed": typed})
        if not typed.read:
            return self._page(typed, status=422)
        if request.POST.get("do") != "save" or request.POST.get("shown") != typed.digest:
            return self._page(typed, look=True)
        try:
            saved = self._save(typed)
        except DomainError as error:
            return self._refused(typed, error)
        messages.success(request, f"{saved.title} is saved.")
        return redirect("desk-competition", self.competition.slug)

    def _refused(self, typed: ChampionshipForms, error: DomainError) -> HttpResponse:
        if not isinstance(error, Conflict):
            problems = error.problems if isinstance(error, InvalidInput) else []
            typed.report(problems or [("", error.message)])
            return self._page(typed, status=422)
        if not isinstance(error.current, Championship):
            messages.error(self.request, error.message)
            return redirect("desk-competition", self.competition.slug)
        typed.form.add_error(None, f"{error.message} What you typed stands below; save again to replace theirs.")
        self.championship = error.current
        return self._page(typed, status=409)

    def _save(self, typed: ChampionshipForms) -> Championship:
        row = typed.form.cleaned_data
        if self.championship is None:
            return create_championship(
                self.competition,
                slug=row["slug"].lower(),
                title=row["title"],
                rules=typed.rules,
                classes=typed.chosen,
                by=self.person,
                reason=row["why"],
            )
        return update_championship(
            self.championship,
            expected_version=_version(self.request),
            by=self.person,
            title=row["title"],
            rules=typed.rules,
            classes=typed.chosen,
            reason=row["why"],
        )

    def _page(self, typed: ChampionshipForms, *, look: bool = False, status: int = 200) -> HttpResponse:
        found = self.championship
        changes = ChampionshipChange.objects.filter(competition=self.competition, slug=found.slug) if found else None
        context = {
            "competition": self.competition,
            "championship": found,
            "typed": typed,
            "form": typed.form,
            "look": look,
            "changes": changes.select_related("by").order_by("-pk") if changes is not None else [],
            "shown_ties": sum(1 for row in typed.ties.forms if row["by"].value()) + 1,
            "shown_team_ties": sum(1 for row in typed.team_ties.forms if row["by"].value()) + 1,
            "shown_classes": max(2, sum(1 for row in typed.classes.forms if row["number"].value())) + 1,
        }
        return render(self.request, "desk/championship_form.html", context, status=status)


class ChampionshipNewView(ChampionshipFormView):
    """``desk-championship-new``."""


class ChampionshipView(ChampionshipFormView):
    """``desk-championship``: change a championship."""

    def load(self, **kwargs: str) -> None:
        super().load(**kwargs)
        known = self.competition.championships.select_related("competition")
        self.championship = get_object_or_404(known, slug=kwargs["championship"])


class ChampionshipDeleteView(ChampionshipView):
    """``desk-championship-delete``."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        found = self.championship
        assert found is not None  # noqa: S101 - load has found it
        try:
            delete_championship(
                found, expected_version=_version(request), by=self.person, reason=request.POST.get("why", "")
            )
        except Conflict as error:
            messages.error(request, error.message)
            return redirect("desk-championship", self.competition.slug, found.slug)
        messages.success(request, f"{found.title} is deleted. Its classes and their results stay.")
        return redirect("desk-competition", self.competition.slug)


def _version(request: HttpRequest) -> int:
    version = request.POST.get("version", "")
    return int(version) if version.isascii() and version.isdigit() and len(version) < 10 else 0
