from __future__ import annotations

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions import policy
from competitions.desk.access import CompetitionDeskView, DeskView
from competitions.desk.exchange import read_upload
from competitions.desk.forms.competitions import RESERVED, CompetitionForm, initial_of
from competitions.desk.forms.fields import zone_names
from competitions.desk.overview import overview_of
from competitions.desk.ridegaps import short_changes
from competitions.selectors.championships import championships_of
from competitions.services.bundles import classes_left_out
from competitions.services.classes import create_competition, update_competition
from competitions.services.imports import import_competition
from riders.errors import Conflict, DomainError, InvalidInput
from scoring.documents import InvalidDocument, load_json


class DeskHomeView(DeskView):
    """``desk``: the competitions in whose office this person works."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest) -> HttpResponse:
        found = policy.office_competitions(request.user).annotate(class_count=Count("classes"))
        return render(request, "desk/home.html", {"competitions": found.order_by("-starts_on", "title", "pk")})


class CompetitionNewView(DeskView):
    """``desk-competition-new``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        return self._page(
            CompetitionForm(
                initial={"time_zone": "Europe/London", "state": "planned", "seat_limit": "5", "movement_limit": "2"}
            )
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        form = CompetitionForm(request.POST)
        if form.is_valid():
            try:
                competition = create_competition(by=self.person, **form.cleaned_data)
            except InvalidInput as error:
                form.add_problems(error.problems, otherwise=error.message)
            else:
                messages.success(request, f"{competition.title} is set up. Add its classes next.")
                return redirect("desk-competition", competition.slug)
        return self._page(form, status=422)

    def _page(self, form: CompetitionForm, *, status: int = 200) -> HttpResponse:
        context = {"form": form, "zones": zone_names()}
        return render(self.request, "desk/competition_form.html", context, status=status)


class CompetitionEditView(CompetitionDeskView):
    """``desk-competition-edit``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page(CompetitionForm(initial=initial_of(self.competition), competition=self.competition))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = CompetitionForm(request.POST, competition=self.competition)
        if form.is_valid():
            version = request.POST.get("version", "")
            try:
                update_competition(
                    self.competition,
                    expected_version=int(version) if version.isdecimal() else 0,
                    by=self.person,
                    **form.cleaned_data,
                )
            except InvalidInput as error:
                form.add_problems(error.problems, otherwise=error.message)
            except Conflict as error:
                self.competition.refresh_from_db()
                form.add_error(None, f"{error.message} What you typed stands below; save again to replace theirs.")
                return self._page(form, status=409)
            else:
                messages.success(request, "The competition is saved.")
                return redirect("desk-competition", self.competition.slug)
        return self._page(form, status=422)

    def _page(self, form: CompetitionForm, *, status: int = 200) -> HttpResponse:
        context = {"form": form, "zones": zone_names(), "competition": self.competition}
        return render(self.request, "desk/competition_form.html", context, status=status)


class CompetitionImportView(DeskView):
    """``desk-competition-import``: a whole competition from its ``competition/1`` document."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest) -> HttpResponse:
        return render(request, "desk/competition_import.html", {"text": ""})

    def post(self, request: HttpRequest) -> HttpResponse:
        text, problems = read_upload(request)
        document: object = None
        if not problems:
            try:
                document = load_json(text)
            except InvalidDocument as error:
                problems = [(problem.path or "document", problem.message) for problem in error.problems]
        if not problems and isinstance(document, dict) and document.get("id") in RESERVED:
            problems = [("id", f'The id "{document["id"]}" is used by the desk itself. Choose another.')]
        if not problems:
            try:
                imported = import_competition(document, by=self.person)
            except InvalidInput as error:
                problems = error.problems or [("document", error.message)]
            except DomainError as error:
                problems = [("document", error.message)]
            else:
                messages.success(request, f"{imported.competition.title} is imported: {imported}.")
                return redirect("desk-competition", imported.competition.slug)
        return render(request, "desk/competition_import.html", {"text": text, "problems": problems}, status=422)


class CompetitionView(CompetitionDeskView):
    """``desk-competition``: the classes of a competition and how far each has come."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        classes = self.competition.classes.select_related("competition", "test", "rule_set").order_by(
            "date", "starts_at", "number", "pk"
        )
        context = {
            "competition": self.competition,
            "overviews": [overview_of(cls) for cls in classes],
            "short_changes": short_changes(self.competition),
            "championships": championships_of(self.competition).prefetch_related("parts__competition_class"),
            "left_out": classes_left_out(self.competition),
        }
        return render(request, "desk/competition.html", context)
