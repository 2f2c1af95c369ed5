from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView, CompetitionDeskView
from competitions.desk.forms.classes import (
    BreakFormSet,
    ClassForm,
    SeatFormSet,
    breaks_of,
    initial_of,
    initial_panel,
    panel_of,
)
from competitions.models import CompetitionClass, Judge, RuleSet, Test
from competitions.services.classes import create_class, judge_named, update_class
from riders.errors import Conflict, DomainError, InvalidInput
from riders.transactions import write_transaction


class ClassNewView(CompetitionDeskView):
    """``desk-class-new``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = ClassForm(initial={"date": self.competition.starts_on, "interval": "8"}, competition=self.competition)
        return page(
            request, form, SeatFormSet(prefix="seats"), BreakFormSet(prefix="breaks"), {"competition": self.competition}
        )

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = ClassForm(request.POST, competition=self.competition)
        seats, breaks = SeatFormSet(request.POST, prefix="seats"), BreakFormSet(request.POST, prefix="breaks")
        if all([form.is_valid(), seats.is_valid(), breaks.is_valid()]):
            try:
                cls = create_class(
                    self.competition,
                    by=self.person,
                    panel=panel_with_judges(panel_of(seats)),
                    breaks=breaks_of(breaks),
                    **form.fields_for_service(),
                )
            except DomainError as error:
                report(form, error)
            else:
                messages.success(request, f"Class {cls.number} is set up. Enter its pairs next.")
                return redirect("desk-class", self.competition.slug, cls.number)
        return page(request, form, seats, breaks, {"competition": self.competition}, status=422)


class ClassEditView(ClassDeskView):
    """``desk-class-edit``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = ClassForm(initial=initial_of(self.cls), competition=self.competition, cls=self.cls)
        seats = SeatFormSet(prefix="seats", initial=initial_panel(self.cls))
        breaks = BreakFormSet(prefix="breaks", initial=self.cls.breaks)
        return page(request, form, seats, breaks, self._context())

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = ClassForm(request.POST, competition=self.competition, cls=self.cls)
        seats = SeatFormSet(request.POST, prefix="seats", initial=initial_panel(self.cls))
        breaks = BreakFormSet(request.POST, prefix="breaks", initial=self.cls.breaks)
        status = 422
        if all([form.is_valid(), seats.is_valid(), breaks.is_valid()]):
            version = request.POST.get("version", "")
            try:
                changed = update_class(
                    self.cls,
                    expected_version=int(version) if version.isdecimal() else 0,
                    by=self.person,
                    panel=panel_with_judges(panel_of(seats)),
                    breaks=breaks_of(breaks),
                    **form.fields_for_service(),
                )
            except Conflict as error:
                self.cls.refresh_from_db()
                form.add_error(None, f"{error.message} What you typed stands below; save again to put it in place.")
                status = 409
            except DomainError as error:
                report(form, error)
            else:
                messages.success(request, f"Class {changed.number} is saved.")
                return redirect("desk-class", self.competition.slug, changed.number)
        return page(request, form, seats, breaks, self._context(), status=status)

    def _context(self) -> dict[str, Any]:
        return {"competition": self.competition, "cls": self.cls}


def report(form: ClassForm, error: DomainError) -> None:
    """Put a refusal into the form; what belongs to the panel or the breaks stands above it."""
    if isinstance(error, InvalidInput) and error.problems:
        form.add_problems(error.problems)
    else:
        form.add_error(None, error.message)


def panel_with_judges(panel: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Find or make the judges that are named on a panel."""
    with write_transaction():
        return [{**member, "judge": judge_named(member["judge"])} for member in panel]


def page(
    request: HttpRequest, form: ClassForm, seats: Any, breaks: Any, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    cls: CompetitionClass | None = context.get("cls")
    context |= {
        "form": form,
        "seats": seats,
        "breaks": breaks,
        "judges": Judge.objects.order_by("name"),
        "lacking": [
            name
            for name, model in (("test", Test), ("rule set", RuleSet))
            if not model._default_manager.exists()  # noqa: SLF001
        ],
        "locked": cls is not None and not cls.open_for_changes,
    }
    return render(request, "desk/class_form.html", context, status=status)
