from __future__ import annotations

import re
from typing import Any

from django import forms

from competitions.desk.forms.fields import DeskForm, ZoneField, date_field, text_field
from competitions.models import Competition, SecondKeyingMode
from riders.models import Association

LIMIT = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3})?\Z", re.ASCII)
RESERVED = frozenset({"new", "documents", "import"})


class CompetitionForm(DeskForm):
    title = text_field("Title", longest=160)
    slug = forms.SlugField(
        label="Short name",
        max_length=60,
        help_text="Stands in the addresses of the pages. Letters, digits and hyphens, such as mirefell-may.",
        error_messages={
            "invalid": "The short name may hold letters, digits, hyphens and underscores only, without spaces."
        },
    )
    venue = text_field("Venue", longest=160)
    organiser = text_field("Organiser", longest=160, required=False)
    starts_on = date_field("First day")
    ends_on = date_field("Last day")
    time_zone = ZoneField(label="Time zone", max_length=60, widget=forms.TextInput(attrs={"list": "time-zones"}))
    association = forms.ModelChoiceField(
        Association.objects.all(), label="Association", required=False, empty_label="None", to_field_name="slug"
    )
    recognised = forms.BooleanField(
        label="Recognised",
        required=False,
        help_text="Scores of this competition count for the association's seasons.",
    )
    sheets_signed = forms.BooleanField(
        label="Sheets have to be signed",
        required=False,
        help_text="An unsigned sheet is then looked at before results become official.",
    )
    seat_limit = text_field(
        "Seats may differ by",
        longest=8,
        required=False,
        help_text="Percentage points between two seats on one ride; more is looked at. Empty: never.",
    )
    movement_limit = text_field(
        "Marks may differ by",
        longest=8,
        required=False,
        help_text="Between two seats on one movement; more is looked at. Empty: never.",
    )
    second_keying = forms.ChoiceField(
        label="Sheets of paper keyed twice",
        choices=SecondKeyingMode.choices,
        required=False,
        help_text="By two persons, the second without sight of the first. A class may say otherwise.",
    )
    second_keying_remarks = forms.BooleanField(
        label="Remarks are keyed twice too", required=False, help_text="Otherwise marks, errors, deductions and totals."
    )
    state = forms.ChoiceField(
        label="State",
        choices=[
            ("planned", "Planned: seen by the office only"),
            ("published", "Published: seen by everyone"),
            ("closed", "Closed: seen by everyone, over"),
        ],
    )

    def __init__(self, *args: Any, competition: Competition | None = None, **kwargs: Any) -> None:
        self.competition = competition
        super().__init__(*args, **kwargs)
        if competition is not None:
            del self.fields["slug"]

    def clean_slug(self) -> str:
        slug: str = self.cleaned_data["slug"].lower()
        if slug in RESERVED:
            raise forms.ValidationError(f'The short name "{slug}" is used by the desk itself. Choose another.')
        if Competition.objects.filter(slug=slug).exists():
            raise forms.ValidationError(f'A competition with the short name "{slug}" exists already. Choose another.')
        return slug

    def clean_seat_limit(self) -> str:
        return _limit(self.cleaned_data["seat_limit"])

    def clean_movement_limit(self) -> str:
        return _limit(self.cleaned_data["movement_limit"])

    def clean_second_keying(self) -> str:
        return self.cleaned_data["second_keying"] or SecondKeyingMode.OFF

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("starts_on"), cleaned.get("ends_on")
        if first and last and last < first:
            self.add_error(
                "ends_on", f"The last day, {last}, lies before the first day, {first}. Correct one of the two."
            )
        if cleaned.get("recognised") and not cleaned.get("association"):
            self.add_error("recognised", "A recognised competition needs its association. Choose it, or untick this.")
        return cleaned


def _limit(typed: str) -> str:
    """Return a limit as it is kept, a comma written as a point."""
    text = typed.strip().replace(",", ".")
    if text and not LIMIT.match(text):
        raise forms.ValidationError(f'"{typed}" is not a limit. Enter a number such as 5 or 2.5, or leave it empty.')
    return text


def initial_of(competition: Competition) -> dict[str, Any]:
    names = ["title", "venue", "organiser", "starts_on", "ends_on", "time_zone", "recognised", "state"]
    names += ["sheets_signed", "seat_limit", "movement_limit", "second_keying", "second_keying_remarks"]
    found = {name: getattr(competition, name) for name in names}
    found["association"] = competition.association.slug if competition.association else ""
    return found
