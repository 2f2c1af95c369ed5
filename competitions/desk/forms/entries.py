from __future__ import annotations

from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory

from competitions.desk.forms.classes import check_number
from competitions.desk.forms.fields import DeskForm, text_field, whole_field
from competitions.models import CompetitionClass, Entry
from scoring.exact import format_exact, parse_decimal

MOST_DEDUCTIONS = 4


class EntryForm(DeskForm):
    number = text_field("Number", longest=10, help_text="The number the horse wears.")
    rider = text_field("Rider", longest=120)
    rider_registration = text_field("Rider's registration", longest=40, required=False)
    horse = text_field("Horse", longest=120)
    horse_registration = text_field("Horse's registration", longest=40, required=False)
    horse_born = whole_field("Horse born in", least=1970, most=2100, required=False)
    owner = text_field("Owner", longest=120, required=False)
    team = text_field("Team", longest=80, required=False)
    hors_concours = forms.BooleanField(
        label="Hors concours", required=False, help_text="Rides outside the competition, without a place."
    )

    def __init__(self, *args: Any, cls: CompetitionClass, entry: Entry | None = None, **kwargs: Any) -> None:
        self.cls = cls
        self.entry = entry
        super().__init__(*args, **kwargs)
        if entry is not None:
            del self.fields["hors_concours"]
            self.fields["why"] = text_field("Why it is changed", longest=300, required=False)
            self.fields["version"] = forms.IntegerField(widget=forms.HiddenInput)

    def clean_number(self) -> str:
        number = check_number(self.cleaned_data["number"].strip(), what="an entry")
        others = self.cls.entries.exclude(pk=self.entry.pk if self.entry else 0)
        if others.filter(number=number).exists():
            raise forms.ValidationError(f"Number {number} is taken in this class. Enter another.")
        return number


class OutcomeForm(DeskForm):
    """What became of a ride; the deductions are a formset of their own."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    status = forms.ChoiceField(label="Status", choices=Entry.Status.choices)
    reason = text_field(
        "Reason", longest=300, required=False, help_text="Stands on the result list, such as: fall of rider."
    )
    errors_of_course = whole_field("Errors of course", least=0, most=20)
    hors_concours = forms.BooleanField(label="Hors concours", required=False)
    why = text_field("Why it is changed", longest=300, required=False, help_text="Kept in the history, not published.")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("status") == Entry.Status.ELIMINATED and not cleaned.get("reason"):
            self.add_error("reason", "An elimination needs its reason, since it stands on the result list. Enter it.")
        return cleaned


class DeductionForm(DeskForm):
    off = forms.ChoiceField(
        label="Off",
        required=False,
        choices=[
            ("sheet-points", "points of a sheet"),
            ("part-percentage", "percentage of a part"),
            ("total-percentage", "total percentage"),
        ],
    )
    amount = text_field("Amount", longest=10, required=False)
    seat = forms.ChoiceField(label="Seat", required=False)
    part = text_field("Part", longest=30, required=False)
    reason = text_field("Reason", longest=120, required=False)

    def __init__(self, *args: Any, seats: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seat"].choices = [("", "every seat"), *((seat, seat) for seat in seats)]  # type: ignore[attr-defined]

    def clean_amount(self) -> str:
        typed: str = self.cleaned_data["amount"].strip().replace(",", ".")
        if not typed:
            return ""
        try:
            amount = parse_decimal(typed)
        except ValueError:
            raise forms.ValidationError(f'"{typed}" is not an amount. Enter a number such as 2 or 0.5.') from None
        if not 0 < amount <= 100:
            raise forms.ValidationError(f"The amount {typed} must be above 0 and at most 100.")
        return format_exact(amount)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("amount") and not cleaned.get("reason"):
            self.add_error("reason", "A deduction needs its reason, such as: whip carried. Enter it.")
        if cleaned.get("reason") and not cleaned.get("amount") and "amount" not in self.errors:
            self.add_error(
                "amount", f"The deduction for {cleaned['reason']} has no amount. Enter it, or clear the row."
            )
        return cleaned


def deductions_of(deductions: BaseFormSet[DeductionForm]) -> list[dict[str, Any]]:
    """Return the rows that hold an amount as ``class/1`` writes deductions."""
    return [_document(form.cleaned_data) for form in deductions.forms if form.cleaned_data.get("amount")]


def _document(row: dict[str, Any]) -> dict[str, Any]:
    found = {"off": row["off"] or "sheet-points", "amount": row["amount"], "reason": row["reason"]}
    if found["off"] == "sheet-points":
        found["seat"] = row["seat"] or None
    if row["part"] and found["off"] != "total-percentage":
        found["part"] = row["part"]
    return found


DeductionFormSet = formset_factory(DeductionForm, extra=0, min_num=MOST_DEDUCTIONS, max_num=MOST_DEDUCTIONS)


def initial_of(entry: Entry) -> dict[str, Any]:
    rider, horse = entry.pair.rider, entry.pair.horse
    return {
        "number": entry.number,
        "team": entry.team,
        "rider": rider.name,
        "rider_registration": rider.registration,
        "horse": horse.name,
        "horse_registration": horse.registration,
        "horse_born": horse.born,
        "owner": horse.owner.name if horse.owner else "",
        "version": entry.version,
    }


def initial_outcome(entry: Entry) -> dict[str, Any]:
    return {
        "version": entry.version,
        "status": entry.status,
        "reason": entry.status_reason,
        "errors_of_course": entry.errors,
        "hors_concours": entry.hors_concours,
    }


def initial_deductions(entry: Entry) -> list[dict[str, Any]]:
    return [
        {key: row.get(key) or "" for key in ("off", "amount", "seat", "part", "reason")} for row in entry.deductions
    ]
