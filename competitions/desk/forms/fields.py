"""Fields that say in whole sentences what is wrong with what was typed."""

from __future__ import annotations

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.core.validators import BaseValidator


class DeskForm(forms.Form):
    """A form whose messages are sentences that name the field and the value; the label makes them up."""

    required_css_class = "required"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            label = (field.label or name.replace("_", " ")).lower()
            field.error_messages["required"] = f"The {label} is missing. Enter it."

    def add_problems(self, problems: list[tuple[str, str]], *, otherwise: str = "") -> None:
        """Put a service's problems beside the fields they are about; the rest stand above the form."""
        for where, sentence in problems:
            name = where.split(".")[0].split("[")[0]
            self.add_error(name if name in self.fields else None, sentence)
        if not problems and otherwise:
            self.add_error(None, otherwise)


def text_field(
    label: str, *, longest: int, required: bool = True, help_text: str = "", **kwargs: Any
) -> forms.CharField:
    field = forms.CharField(label=label, max_length=longest, required=required, help_text=help_text, **kwargs)
    field.error_messages["max_length"] = (
        f"The {label.lower()} has %(show_value)d characters, but at most {longest} fit. Shorten it."
    )
    return field


def date_field(label: str, *, help_text: str = "") -> forms.DateField:
    field = forms.DateField(
        label=label, help_text=help_text, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    field.error_messages["invalid"] = (
        f"The {label.lower()} is not a date. Enter it as year-month-day, such as 2027-05-14."
    )
    return field


def time_field(label: str, *, required: bool = False, help_text: str = "") -> forms.TimeField:
    field = forms.TimeField(
        label=label,
        required=required,
        help_text=help_text,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
    )
    field.error_messages["invalid"] = (
        f"The {label.lower()} is not a time of day. Enter it as hours and minutes, such as 09:30."
    )
    return field


def whole_field(
    label: str, *, least: int, most: int, required: bool = True, help_text: str = "", **attrs: Any
) -> forms.IntegerField:
    field = forms.IntegerField(
        label=label,
        min_value=least,
        max_value=most,
        required=required,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", **attrs}),
    )
    sentence = f"The {label.lower()} must be a whole number from {least} to {most}."
    field.error_messages["invalid"] = sentence
    for validator in field.validators:
        if isinstance(validator, BaseValidator):
            validator.message = f"{sentence[:-1]}, but %(show_value)s was entered."
    return field


class ZoneField(forms.CharField):
    """A time zone by its name in the IANA database."""

    def clean(self, value: Any) -> str:
        name: str = super().clean(value)
        if name not in _known_zones():
            raise forms.ValidationError(
                f'"{name}" is not a time zone. Choose one from the list, such as Europe/Vienna.', code="zone"
            )
        return name


@cache
def _known_zones() -> frozenset[str]:
    return frozenset(available_timezones())  # reads the whole folder of zones, so once is enough


@cache
def zone_names() -> tuple[str, ...]:
    """Return the time zones to offer: those of places, without the old abbreviations."""
    places = (name for name in _known_zones() if "/" in name and not name.startswith(("Etc/", "posix", "right")))
    return tuple(sorted(places))
