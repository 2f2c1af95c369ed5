from __future__ import annotations

from django.contrib import messages
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView, CompetitionDeskView
from competitions.desk.forms.classes import (
    BreakFormSet,
    ClassForm,
    SeatFormSet,
    TeamsForm,
    breaks_of,
    initial_of,
    initial_panel,
    initial_teams,
    panel_of,
)
from competitions.models import Competition, CompetitionClass, Judge, RuleSet, Test
from competitions.services.classes import create_class, judge_named, update_class
from competitions.services.team_rules import set_team_rules
from riders.errors import Conflict, DomainError, InvalidInput
from riders.models import User
from riders.transactions import write_transaction


class ClassForms:
    """The four forms that make up a class: itself, its panel, its breaks, its rule for teams."""

    def __init__(
        self, competition: Competition, *, cls: CompetitionClass | None = None, data: QueryDict | None = None
    ) -> None:
        self.competition, self.cls = competition, cls
        start = {"date": competition.starts_on, "interval": "8"}
        self.form = ClassForm(data, initial=initial_of(cls) if cls else start, competition=competition, cls=cls)
        self.seats = SeatFormSet(data, prefix="seats", initial=initial_panel(cls) if cls else None)
        self.breaks = BreakFormSet(data, prefix="breaks", initial=cls.breaks if cls else None)
        self.teams = TeamsForm(data, prefix="teams", initial=initial_teams(cls) if cls else None)

    def are_valid(self) -> bool:
        return all([part.is_valid() for part in (self.form, self.seats, self.breaks, self.teams)])  # noqa: C419 - all of them

    def save(self, *, by: User, version: int = 0) -> CompetitionClass:
        """Save the class, then its rule for teams, which is checked against the rule set that was just chosen."""
        with write_transaction():
            panel = [{**member, "judge": judge_named(member["judge"])} for member in panel_of(self.seats)]
        fields = self.form.fields_for_service() | {"breaks": breaks_of(self.breaks)}
        if self.cls is None:
            saved = create_class(self.competition, by=by, panel=panel, **fields)
            self.cls = saved
        else:
            saved = update_class(self.cls, expected_version=version, by=by, panel=panel, **fields)
        rules = self.teams.rules()
        return saved if rules == saved.team_rules else set_team_rules(saved, rules, by=by)

    def report(self, error: DomainError) -> None:
        """Put a refusal beside what it is about; what belongs to no single field stands above the form."""
        problems = error.problems if isinstance(error, InvalidInput) else []
        of_teams = [
            (where.removeprefix("teams."), sentence) for where, sentence in problems if where.startswith("teams")
        ]
        self.teams.add_problems(of_teams)
        self.form.add_problems([problem for problem in problems if not problem[0].startswith("teams")])
        if of_teams or not problems:
            self.form.add_error(None, error.message)

    def page(self, request: HttpRequest, *, status: int = 200) -> HttpResponse:
        models: tuple[tuple[str, type[Model]], ...] = (("test", Test), ("rule set", RuleSet))
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "form": self.form,
            "seats": self.seats,
            "breaks": self.breaks,
            "teams": self.teams,
            "judges": Judge.objects.order_by("name"),
            "lacking": [name for name, model in models if not model._default_manager.exists()],  # noqa: SLF001
            "locked": self.cls is not None and not self.cls.open_for_changes,
        }
        return render(request, "desk/class_form.html", context, status=status)


class ClassNewView(CompetitionDeskView):
    """``desk-class-new``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        return ClassForms(self.competition).page(request)

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        forms = ClassForms(self.competition, data=request.POST)
        if not forms.are_valid():
            return forms.page(request, status=422)
        try:
            cls = forms.save(by=self.person)
        except DomainError as error:
            if forms.cls is not None:  # the class is there, only its rule for teams is not
                messages.error(request, f"Class {forms.cls.number} is set up without teams. {error.message}")
                return redirect("desk-class-edit", self.competition.slug, forms.cls.number)
            forms.report(error)
            return forms.page(request, status=422)
        messages.success(request, f"Class {cls.number} is set up. Enter its pairs next.")
        return redirect("desk-class", self.competition.slug, cls.number)


class ClassEditView(ClassDeskView):
    """``desk-class-edit``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        return ClassForms(self.competition, cls=self.cls).page(request)

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        forms = ClassForms(self.competition, cls=self.cls, data=request.POST)
        if not forms.are_valid():
            return forms.page(request, status=422)
        version = request.POST.get("version", "")
        try:
            changed = forms.save(by=self.person, version=int(version) if version.isdecimal() else 0)
        except Conflict as error:
            self.cls.refresh_from_db()
            sentence = f"{error.message} What you typed stands below; save again to put it in place."
            forms.form.add_error(None, sentence)
            return forms.page(request, status=409)
        except DomainError as error:
            self.cls.refresh_from_db()
            forms.report(error)
            return forms.page(request, status=422)
        messages.success(request, f"Class {changed.number} is saved.")
        return redirect("desk-class", self.competition.slug, changed.number)
