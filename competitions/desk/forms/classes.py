from __future__ import annotations

import re
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory

from competitions.desk.forms.fields import DeskForm, date_field, text_field, time_field, whole_field
from competitions.models import Competition, CompetitionClass, RuleSet, SecondKeyingMode, Sheet, Test
from competitions.services.numbers import number_fault
from scoring.exact import format_exact, parse_decimal

INTERVAL = re.compile(r"(\d{1,3})(?::([0-5]\d))?\Z", re.ASCII)
MOST_SEATS = 7
MOST_BREAKS = 4


def check_number(number: str, *, what: str) -> str:
    """Refuse a number that could not stand in an address."""
    fault = number_fault(number, what=what)
    if fault:
        raise forms.ValidationError(fault, code="number")
    return number


class ClassForm(DeskForm):
    number = text_field("Number", longest=10, help_text="Such as 4 or 4a.")
    title = text_field("Title", longest=160)
    level = text_field("Level", longest=60, required=False)
    division = text_field("Division", longest=60, required=False, help_text="Such as open or junior.")
    test = forms.ModelChoiceField(Test.objects.all(), label="Test", to_field_name="key", empty_label="Choose a test")
    rule_set = forms.ModelChoiceField(
        RuleSet.objects.all(), label="Rule set", to_field_name="key", empty_label="Choose a rule set"
    )
    arena = text_field("Arena", longest=40, required=False)
    date = date_field("Day")
    starts_at = time_field("First ride at", help_text="Local time at the venue.")
    interval = text_field(
        "Time from ride to ride", longest=8, help_text="Minutes, or minutes:seconds, such as 8 or 7:30."
    )

    from_recordings = forms.BooleanField(
        label="Judged from recordings",
        required=False,
        help_text="Riders or the office upload a film of each ride or name a link; judges watch it beside the sheet.",
    )
    second_keying = forms.ChoiceField(
        label="Sheets of paper keyed twice",
        choices=[("", "as the competition says"), *SecondKeyingMode.choices],
        required=False,
        help_text="By two persons, the second without sight of the first.",
    )

    def __init__(
        self, *args: Any, competition: Competition, cls: CompetitionClass | None = None, **kwargs: Any
    ) -> None:
        self.competition = competition
        self.cls = cls
        super().__init__(*args, **kwargs)
        if cls is not None and Sheet.objects.filter(entry__competition_class=cls).exists():
            self.fields["test"].help_text = "Sheets have been written on this test already."

    def clean_number(self) -> str:
        number = check_number(self.cleaned_data["number"].strip(), what="a class")
        others = self.competition.classes.exclude(pk=self.cls.pk if self.cls else 0)
        if others.filter(number__iexact=number).exists():
            raise forms.ValidationError(f"Class {number} exists already in this competition. Choose another number.")
        return number

    def clean_date(self) -> Any:
        day = self.cleaned_data["date"]
        first, last = self.competition.starts_on, self.competition.ends_on
        if not first <= day <= last:
            raise forms.ValidationError(
                f"{day} is not a day of this competition, which runs from {first} to {last}. Choose a day of it."
            )
        return day

    def clean_interval(self) -> int:
        typed = self.cleaned_data["interval"].strip()
        match = INTERVAL.match(typed)
        seconds = int(match[1]) * 60 + int(match[2] or 0) if match else 0
        if not 60 <= seconds <= 7200:
            raise forms.ValidationError(
                f'"{typed}" is not a time from ride to ride. Enter 1 to 120 minutes, or minutes:seconds such as 7:30.'
            )
        return seconds

    def fields_for_service(self) -> dict[str, Any]:
        """Return the model's fields by name, the interval in seconds."""
        found = dict(self.cleaned_data)
        found["interval_seconds"] = found.pop("interval")
        return found


class TeamsForm(DeskForm):
    """The rule for teams as ``class/1`` writes it; without a number that counts the class has no teams."""

    counting = whole_field("Scores that count", least=1, most=20, required=False, help_text="Empty: no teams.")
    method = forms.ChoiceField(label="Put together as", choices=[("sum", "their sum"), ("mean", "their mean")])
    of = forms.ChoiceField(
        label="Of",
        choices=[("percentage", "total percentages"), ("points", "points"), ("penalty", "penalties, the lowest")],
    )
    drop_out = text_field(
        "A member without a total counts with",
        longest=10,
        required=False,
        help_text="Such as 25. Empty: it does not count, and a team with too few scores gets no place.",
    )

    def clean_drop_out(self) -> str:
        typed: str = self.cleaned_data["drop_out"].strip().replace(",", ".")
        try:
            return format_exact(parse_decimal(typed)) if typed else ""
        except ValueError:
            raise forms.ValidationError(
                f'"{typed}" is not a number. Enter one such as 25, or leave it empty.'
            ) from None

    def rules(self) -> dict[str, Any] | None:
        row = self.cleaned_data
        if not row.get("counting"):
            return None
        return {
            "counting": row["counting"],
            "method": row["method"],
            "of": row["of"],
            "drop_out": row["drop_out"] or None,
        }


class SeatForm(DeskForm):
    seat = text_field("Seat", longest=10, required=False)
    judge = text_field("Judge", longest=120, required=False)
    parts = text_field("Parts", longest=120, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["judge"].widget.attrs["list"] = "judges"
        self.fields["seat"].widget.attrs["autocapitalize"] = "characters"

    def clean_seat(self) -> str:
        seat: str = self.cleaned_data["seat"].strip()
        return check_number(seat, what="a seat") if seat else ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("judge") and not cleaned.get("seat") and "seat" not in self.errors:
            self.add_error("seat", f"{cleaned['judge']} has no seat. Enter the letter, such as C.")
        return cleaned


class BaseSeats(BaseFormSet):  # type: ignore[type-arg]  # not generic at run time
    def clean(self) -> None:
        seats = [form.cleaned_data.get("seat", "") for form in self.forms if form.is_valid()]
        named = [seat for seat in seats if seat]
        repeated = sorted({seat for seat in named if named.count(seat) > 1})
        if repeated:
            raise forms.ValidationError(
                f"Seat {repeated[0]} stands twice on the panel. Give each judge a seat of their own."
            )
        if not named and not any(self.errors):
            raise forms.ValidationError("The panel is empty. Enter at least one seat, such as C.")


class BreakForm(DeskForm):
    after = whole_field("After ride", least=1, most=500, required=False)
    minutes = whole_field("Minutes", least=1, most=600, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        after, minutes = cleaned.get("after"), cleaned.get("minutes")
        if after and not minutes and "minutes" not in self.errors:
            self.add_error("minutes", f"The break after ride {after} has no length. Enter its minutes.")
        if minutes and not after and "after" not in self.errors:
            self.add_error("after", f"The break of {minutes} minutes has no place. Enter after which ride it falls.")
        return cleaned


class BaseBreaks(BaseFormSet):  # type: ignore[type-arg]  # as above
    def clean(self) -> None:
        places = [form.cleaned_data.get("after") for form in self.forms if form.is_valid()]
        repeated = sorted({place for place in places if place and places.count(place) > 1})
        if repeated:
            raise forms.ValidationError(f"Two breaks fall after ride {repeated[0]}. Put them together into one.")


def panel_of(seats: BaseFormSet[SeatForm]) -> list[dict[str, Any]]:
    """Return the panel as it was entered, the judges by name."""
    rows = [form.cleaned_data for form in seats.forms if form.cleaned_data.get("seat")]
    return [
        {
            "seat": row["seat"],
            "judge": row["judge"],
            "parts": [part.strip() for part in row["parts"].split(",") if part.strip()],
        }
        for row in rows
    ]


def breaks_of(breaks: BaseFormSet[BreakForm]) -> list[dict[str, int]]:
    """Return the breaks in the order of the rides."""
    rows = [form.cleaned_data for form in breaks.forms if form.cleaned_data.get("after")]
    return sorted(({"after": row["after"], "minutes": row["minutes"]} for row in rows), key=lambda row: row["after"])


SeatFormSet = formset_factory(SeatForm, formset=BaseSeats, extra=0, min_num=MOST_SEATS, max_num=MOST_SEATS)
BreakFormSet = formset_factory(BreakForm, formset=BaseBreaks, extra=0, min_num=MOST_BREAKS, max_num=MOST_BREAKS)


def initial_of(cls: CompetitionClass) -> dict[str, Any]:
    names = ("number", "title", "level", "division", "arena", "date", "starts_at", "from_recordings", "second_keying")
    found = {name: getattr(cls, name) for name in names}
    minutes, seconds = divmod(cls.interval_seconds, 60)
    found["interval"] = f"{minutes}:{seconds:02d}" if seconds else str(minutes)
    found |= {"test": cls.test.key, "rule_set": cls.rule_set.key}
    return found


def initial_teams(cls: CompetitionClass) -> dict[str, Any]:
    return {key: "" if value is None else value for key, value in (cls.team_rules or {}).items()}


def initial_panel(cls: CompetitionClass) -> list[dict[str, str]]:
    return [
        {"seat": seat.seat, "judge": seat.judge.name if seat.judge else "", "parts": ", ".join(seat.parts)}
        for seat in cls.seats.select_related("judge")
    ]
