from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView, EntryDeskView
from competitions.desk.forms.entries import (
    DeductionFormSet,
    EntryForm,
    OutcomeForm,
    deductions_of,
    initial_deductions,
    initial_of,
    initial_outcome,
)
from competitions.desk.history import entry_history
from competitions.desk.overview import Cell, cell_of, keyed_twice
from competitions.models import PanelSeat, ResultRow, Sheet
from competitions.selectors.consequences import consequence_of_errors, consequences, deduction_sentence
from competitions.selectors.documents import rules_of
from competitions.selectors.keyings import keyings_of_class
from competitions.services.entries import add_entry, remove_entry, set_outcome
from competitions.services.entry_details import change_entry, pair_by_hand
from riders.errors import Conflict, DomainError, InvalidInput

_FIELDS = {"errors": "errors_of_course", "status_reason": "reason"}


class EntryNewView(ClassDeskView):
    """``desk-entry-new``: enter a pair by hand."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page(EntryForm(cls=self.cls))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = EntryForm(request.POST, cls=self.cls)
        if form.is_valid():
            data = dict(form.cleaned_data)
            own = {name: data.pop(name) for name in ("number", "team", "hors_concours")}
            try:
                pair = pair_by_hand(self.competition, **data)
                entry = add_entry(self.cls, pair=pair, by=self.person, **own)
            except DomainError as error:
                _report(form, error)
            else:
                messages.success(request, f"Number {entry.number}, {entry.pair}, is entered and rides last.")
                target = "desk-entry-new" if "another" in request.POST else "desk-class"
                return redirect(target, self.competition.slug, self.cls.number)
        return self._page(form, status=422)

    def _page(self, form: EntryForm, *, status: int = 200) -> HttpResponse:
        context = {"competition": self.competition, "cls": self.cls, "form": form, "open": self.cls.open_for_changes}
        return render(self.request, "desk/entry_form.html", context, status=status)


class EntryEditView(EntryDeskView):
    """``desk-entry-edit``: another number, pair or team for an entry."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page(EntryForm(initial=initial_of(self.entry), cls=self.cls, entry=self.entry))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = EntryForm(request.POST, cls=self.cls, entry=self.entry)
        status = 422
        if form.is_valid():
            data = dict(form.cleaned_data)
            number, team, why, version = (data.pop(name) for name in ("number", "team", "why", "version"))
            try:
                entry = change_entry(
                    self.entry,
                    expected_version=version,
                    by=self.person,
                    number=number,
                    pair=pair_by_hand(self.competition, **data),
                    team=team,
                    why=why,
                )
            except Conflict as error:
                status = 409
                form.add_error(None, error.message)
            except DomainError as error:
                _report(form, error)
            else:
                messages.success(request, f"Entry {entry.number} is saved.")
                return redirect("desk-entry", self.competition.slug, self.cls.number, entry.number)
        return self._page(form, status=status)

    def _page(self, form: EntryForm, *, status: int = 200) -> HttpResponse:
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "entry": self.entry,
            "form": form,
            "open": self.cls.open_for_changes,
        }
        return render(self.request, "desk/entry_form.html", context, status=status)


class EntryRemoveView(EntryDeskView):
    """``desk-entry-remove``: take out an entry that nobody has marked."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        number = self.entry.number
        try:
            remove_entry(self.entry, by=self.person)
        except DomainError as error:
            messages.error(request, error.message)
            return redirect("desk-entry", self.competition.slug, self.cls.number, number)
        messages.success(request, f"Entry {number} is removed.")
        return redirect("desk-class", self.competition.slug, self.cls.number)


class EntryView(EntryDeskView):
    """``desk-entry``: the outcome of an entry with what it costs, its sheets and its history."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        form = OutcomeForm(initial=initial_outcome(self.entry))
        return self._page(form, self._deductions(initial=initial_deductions(self.entry)))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        form = OutcomeForm(request.POST)
        deductions = self._deductions(request.POST)
        status = 422
        if form.is_valid() and deductions.is_valid():
            data = form.cleaned_data
            try:
                entry = set_outcome(
                    self.entry,
                    expected_version=data["version"],
                    by=self.person,
                    status=data["status"],
                    errors=data["errors_of_course"],
                    reason=data["reason"],
                    deductions=deductions_of(deductions),
                    hors_concours=data["hors_concours"],
                    why=data["why"],
                )
            except Conflict as error:
                self.load(**self.kwargs)
                form.add_error(None, f"{error.message} It now stands at: {self._said()} What you typed is kept below.")
                form.data = {**request.POST.dict(), "version": str(self.entry.version)}
                status = 409
            except DomainError as error:
                _report(form, error)
            else:
                messages.success(request, self._answer(data["status"], entry.status))
                return redirect("desk-entry", self.competition.slug, self.cls.number, entry.number)
        return self._page(form, deductions, status=status)

    def _deductions(self, data: Any = None, *, initial: list[dict[str, Any]] | None = None) -> Any:
        seats = [seat.seat for seat in self.cls.seats.all()]
        return DeductionFormSet(data, prefix="deductions", initial=initial, form_kwargs={"seats": seats})

    def _answer(self, asked: str, status: str) -> str:
        said = f"The outcome of number {self.entry.number} is saved: {status}."
        if asked == "completed" and status == "running":
            said += " It counts as completed as soon as every seat's sheet is full."
        return said

    def _said(self) -> str:
        entry = self.entry
        said = [entry.get_status_display(), f"{entry.errors} errors of course"]
        if entry.status_reason:
            said.append(entry.status_reason)
        said += [deduction_sentence(deduction) for deduction in entry.deductions]
        return "; ".join(said) + "."

    def _cell(self, seat: PanelSeat, sheet: Sheet | None, states: Mapping[int, str]) -> Cell:
        return keyed_twice(cell_of(self.cls, self.entry, seat, sheet), states.get(seat.pk, ""))

    def _page(self, form: OutcomeForm, deductions: Any, *, status: int = 200) -> HttpResponse:
        cls, entry = self.cls, self.entry
        seats = list(cls.seats.select_related("judge"))
        sheets = {sheet.seat_id: sheet for sheet in Sheet.objects.filter(entry=entry).select_related("changed_by")}
        states = {keyings.seat.pk: keyings.state for keyings in keyings_of_class(cls, entry=entry)}
        row = ResultRow.objects.filter(entry=entry).first()
        context = {
            "competition": self.competition,
            "cls": cls,
            "entry": entry,
            "form": form,
            "deductions": deductions,
            "shown_deductions": len(entry.deductions) + 1,
            "sheets": [(seat, self._cell(seat, sheets.get(seat.pk), states), sheets.get(seat.pk)) for seat in seats],
            "has_sheets": bool(sheets),
            "result": row,
            "working": row.document.get("working", []) if row else [],
            "consequence": consequence_of_errors(cls, entry.errors),
            "consequences": consequences(cls),
            "parts": list(rules_of(cls).parts),
            "changes": entry_history(entry, cls=cls),
            "ride_time": entry.ride_time.astimezone(self.competition.zone) if entry.ride_time else None,
            "open": cls.open_for_changes,
        }
        return render(self.request, "desk/entry.html", context, status=status)


def _report(form: EntryForm | OutcomeForm, error: DomainError) -> None:
    if isinstance(error, InvalidInput) and error.problems:
        form.add_problems([(_FIELDS.get(where, where), sentence) for where, sentence in error.problems])
    else:
        form.add_error(None, error.message)
