"""The film of one ride: its rider and the office send, replace and delete it here, and the judges may look at it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from competitions import policy
from competitions.models import Entry, Recording, RecordingChange
from competitions.public.access import entry_or_404
from competitions.public.recording_form import CameraForm, LinkForm, initial_camera
from competitions.selectors.recordings import judging_begun, kept_recording
from competitions.services.recording_files import arrived_bytes
from competitions.services.recordings import (
    delete_recording,
    give_up_upload,
    largest_film,
    move_camera,
    name_link,
)
from riders.errors import DomainError
from riders.models import User

_MEGABYTE = 1_000_000


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def recording_page(request: HttpRequest, slug: str, class_number: str, entry_number: str) -> HttpResponse:
    entry = entry_or_404(request.user, slug, class_number, entry_number)
    recording = kept_recording(entry)
    concerned = recording is not None or entry.competition_class.from_recordings
    if not concerned or not policy.can(request.user, "view-recording", entry):
        raise Http404
    if request.method != "POST":
        return _page(request, entry)
    if not policy.can(request.user, "send-recording", entry):
        raise Http404
    act = _ACTS.get(request.POST.get("act", ""))
    return act(request, entry) if act else _page(request, entry, problem="This page offers no such thing.", status=400)


def _name_link(request: HttpRequest, entry: Entry) -> HttpResponse:
    form = LinkForm(request.POST, prefix="link")
    if not form.is_valid():
        return _page(request, entry, link_form=form, status=400)
    try:
        name_link(entry, link=form.cleaned_data["link"], camera=form.camera(), by=_person(request))
    except DomainError as refusal:
        form.add_error("link" if refusal.code == "bad-link" else None, refusal.message)
        return _page(request, entry, link_form=form, status=400)
    return _done(request, entry, "The link is named. Open it once yourself, logged in nowhere: the judges will too.")


def _move_camera(request: HttpRequest, entry: Entry) -> HttpResponse:
    recording = kept_recording(entry)
    if recording is None:
        return _page(request, entry, problem="There is no recording any more whose camera stood anywhere.", status=400)
    form = CameraForm(request.POST, prefix="moved")
    if not form.is_valid():
        return _page(request, entry, moved_form=form, status=400)
    try:
        moved = move_camera(recording, camera=form.camera(), by=_person(request))
    except DomainError as refusal:
        form.add_error(None, refusal.message)
        return _page(request, entry, moved_form=form, status=400)
    return _done(request, entry, f"Filmed {moved.camera}: so it stands now.")


def _delete(request: HttpRequest, entry: Entry) -> HttpResponse:
    recording = kept_recording(entry)
    if recording is None:
        return _page(request, entry, problem="There is no recording to delete any more.", status=400)
    reason = request.POST.get("reason", "").replace("\0", "").strip()
    try:
        delete_recording(recording, by=_person(request), reason=reason)
    except DomainError as refusal:
        return _page(request, entry, problem=refusal.message, status=400)
    return _done(request, entry, "The recording is deleted.")


def _give_up(request: HttpRequest, entry: Entry) -> HttpResponse:
    arriving = _arriving(entry)
    if arriving is not None:
        give_up_upload(arriving, by=_person(request))
    return _done(request, entry, "What had arrived of the film is removed.")


_ACTS: dict[str, Callable[[HttpRequest, Entry], HttpResponse]] = {
    "link": _name_link,
    "camera": _move_camera,
    "delete": _delete,
    "give-up": _give_up,
}


def _done(request: HttpRequest, entry: Entry, sentence: str) -> HttpResponse:
    messages.success(request, sentence)
    cls = entry.competition_class
    return redirect("entry-recording", cls.competition.slug, cls.number, entry.number)


def _page(request: HttpRequest, entry: Entry, *, status: int = 200, problem: str = "", **forms: Any) -> HttpResponse:
    cls = entry.competition_class
    recording, arriving = kept_recording(entry), _arriving(entry)
    sends = policy.can(request.user, "send-recording", entry)
    begun = judging_begun(entry)
    camera = initial_camera(arriving or recording)
    context = {
        "entry": entry,
        "cls": cls,
        "competition": cls.competition,
        "recording": recording,
        "film": reverse("api-recording-film", args=[entry.pk]) if recording and not recording.link else "",
        "sends": sends,
        "changeable": sends and cls.from_recordings and cls.open_for_changes and not begun,
        "deletable": sends and recording is not None and not (cls.open_for_changes and begun),
        "begun": begun,
        "arriving": arriving,
        "arrived": 100 * arrived_bytes(arriving.key) // arriving.length if arriving else 0,
        "uploads": reverse("api-uploads", args=[entry.pk]),
        "largest": largest_film(),
        "largest_megabytes": largest_film() // _MEGABYTE,
        "problem": problem,
        "film_form": CameraForm(prefix="film", initial=camera),
        "link_form": forms.get("link_form") or LinkForm(prefix="link", initial=camera),
        "moved_form": forms.get("moved_form") or CameraForm(prefix="moved", initial=camera),
        "history": _history(entry) if sends else (),
    }
    return render(request, "competitions/recording.html", context, status=status)


def _arriving(entry: Entry) -> Recording | None:
    return entry.recordings.filter(state=Recording.State.ARRIVING).first()


def _history(entry: Entry) -> list[RecordingChange]:
    changes = RecordingChange.objects.filter(recording__entry=entry).select_related("recording", "by")
    return list(changes.order_by("-id"))


def _person(request: HttpRequest) -> User:
    return cast("User", request.user)  # the policy lets nobody send who is not logged in
