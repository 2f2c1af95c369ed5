"""Where the camera stood, and a link: what a person fills in about a recording, with sentences where it is wrong."""

from __future__ import annotations

from typing import Any

from django import forms

from competitions.models.recordings import LETTERS, Recording
from competitions.services.recordings import Camera, camera_of

_HEIGHT = (
    "The height of the camera is a whole number of centimetres, from 0 to 3000. Leave it empty if it is not known."
)


class CameraForm(forms.Form):
    camera_letter = forms.ChoiceField(
        label="The camera stood at",
        choices=[("", "elsewhere, as said below"), *((letter, letter) for letter in LETTERS)],
        required=False,
        error_messages={
            "invalid_choice": f'"%(value)s" is no letter of the arena. Choose one of {", ".join(LETTERS)}.'
        },
    )
    camera_place = forms.CharField(
        label="Elsewhere",
        max_length=120,
        required=False,
        help_text="Only where it stood at no letter, such as: in the stand, left of C.",
        error_messages={"max_length": "Say in at most 120 characters where the camera stood."},
    )
    camera_height = forms.IntegerField(
        label="Height in centimetres",
        min_value=0,
        max_value=3000,
        required=False,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        error_messages={"invalid": _HEIGHT, "min_value": _HEIGHT, "max_value": _HEIGHT},
    )

    def clean(self) -> dict[str, Any]:
        found: dict[str, Any] = super().clean() or {}
        if not self.errors and bool(found.get("camera_letter")) == bool(found.get("camera_place")):
            self.add_error("camera_letter", "Say where the camera stood: at a letter, or elsewhere in words.")
        return found

    def camera(self) -> Camera:
        return camera_of(self.cleaned_data)


class LinkForm(CameraForm):
    link = forms.CharField(
        label="Address of the film",
        max_length=500,
        help_text="The whole address, beginning with https://.",
        error_messages={
            "required": "The address is missing. Copy it from where the film lies.",
            "max_length": "The address has more than 500 characters. Copy the short one that the site offers.",
        },
    )


def initial_camera(recording: Recording | None) -> dict[str, Any]:
    if recording is None:
        return {}
    return {name: getattr(recording, name) for name in ("camera_letter", "camera_place", "camera_height")}
