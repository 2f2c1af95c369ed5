from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

LETTERS = ("A", "K", "V", "E", "S", "H", "C", "M", "R", "B", "P", "F")


class Recording(models.Model):
    """The film of one ride: a file kept here for few eyes, or a link to where it lies elsewhere.

    A file arrives in pieces; what has arrived of it is what lies on the disk under ``key``. ``length`` is in bytes, as
    announced and, once kept, as it is; ``digest`` is the SHA-256 of the whole. ``modified`` is what the sender's disk
    says of the file's age: it tells whether an upload that was broken off goes on. The camera stood at a letter, or
    where ``camera_place`` says in words, ``camera_height`` centimetres above the ground where known.
    """

    class State(models.TextChoices):
        ARRIVING = "arriving", "arriving"
        KEPT = "kept", "kept"
        REPLACED = "replaced", "replaced"
        DELETED = "deleted", "deleted"
        ABANDONED = "abandoned", "abandoned"

    entry = models.ForeignKey("competitions.Entry", on_delete=models.CASCADE, related_name="recordings")
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    state = models.CharField(max_length=9, choices=State.choices)
    link = models.CharField(max_length=500, blank=True)
    name = models.CharField(max_length=120, blank=True)
    modified = models.CharField(max_length=40, blank=True)
    content_type = models.CharField(max_length=40, blank=True)
    length = models.PositiveBigIntegerField(default=0)
    digest = models.CharField(max_length=64, blank=True)
    camera_letter = models.CharField(max_length=1, blank=True, choices=[(letter, letter) for letter in LETTERS])
    camera_place = models.CharField(max_length=120, blank=True)
    camera_height = models.PositiveSmallIntegerField(null=True, blank=True)
    uploaded_by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    uploaded_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["entry", "id"]
        constraints = [
            models.UniqueConstraint(fields=["entry"], condition=Q(state="kept"), name="recording_kept_once_an_entry"),
            models.UniqueConstraint(
                fields=["entry"], condition=Q(state="arriving"), name="recording_arriving_once_an_entry"
            ),
            models.CheckConstraint(condition=Q(link="") | Q(length=0), name="recording_file_or_link"),
            models.CheckConstraint(
                condition=Q(camera_letter="") ^ Q(camera_place=""), name="recording_camera_at_letter_or_place"
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.link

    @property
    def camera(self) -> str:
        """Say where the camera stood: "at C, 2.50 m high" or "in the stand, left of C"."""
        where = f"at {self.camera_letter}" if self.camera_letter else self.camera_place
        if self.camera_height is None:
            return where
        metres, centimetres = divmod(self.camera_height, 100)
        return f"{where}, {metres}.{centimetres:02d} m high"


class RecordingChange(models.Model):
    """What became of a recording: when, by whom, why. Rows are only ever added; the recording's row stays too."""

    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="changes")
    action = models.CharField(max_length=40)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("riders.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["recording", "id"]
