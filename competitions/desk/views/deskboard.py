"""The class desk: one screen on which a class is run, and the part of it that renews itself."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView
from competitions.desk.overview import overview_of
from competitions.desk.ridegaps import short_changes
from competitions.models import SecondKeyingMode
from competitions.selectors.board import class_version
from competitions.selectors.keyings import mode_of
from competitions.selectors.recordings import numbers_without_recording
from competitions.services.entries import set_in_ring
from riders.errors import DomainError

REPORT_KINDS = (("running-order", "Running order"), ("results", "Result list"), ("working", "Working of the results"))


class ClassDeskPage(ClassDeskView):
    """``desk-class``."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        unfilmed = numbers_without_recording(self.cls)
        return render(request, "desk/class.html", {**live_context(self), "unfilmed": unfilmed})


class ClassLiveView(ClassDeskView):
    """``desk-class-live``: the part of the class desk asked for every two seconds; 304 while nothing changed."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        tag = live_tag(self.cls.pk, class_version(self.cls.pk) or 0)
        if request.headers.get("If-None-Match") == tag:
            return HttpResponseNotModified(headers={"ETag": tag, "Cache-Control": "private, no-cache"})
        response = render(request, "desk/class_live.html", live_context(self))
        response["ETag"] = live_tag(self.cls.pk, self.cls.version)
        response["Cache-Control"] = "private, no-cache"
        return response


class RingView(ClassDeskView):
    """``desk-ring``: say who is in the ring; ``entry`` is its number, empty for nobody."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        number = request.POST.get("entry", "")
        entry = self.cls.entries.filter(number=number).first() if number else None
        if number and entry is None:
            messages.error(request, f"No entry {number[:10]} rides in this class any more.")
        else:
            try:
                set_in_ring(self.cls, entry=entry, by=self.person)
            except DomainError as error:
                messages.error(request, error.message)
        return redirect("desk-class", self.competition.slug, self.cls.number)


def live_context(view: ClassDeskView) -> dict[str, Any]:
    return {
        "competition": view.competition,
        "cls": view.cls,
        "overview": overview_of(view.cls),
        "short_changes": short_changes(view.competition, cls=view.cls),
        "open": view.cls.open_for_changes,
        "keyed_twice": mode_of(view.cls) != SecondKeyingMode.OFF,
        "live_tag": live_tag(view.cls.pk, view.cls.version),
        "report_kinds": REPORT_KINDS,
    }


def live_tag(class_id: int, version: int) -> str:
    return f'"desk-{class_id}-{version}"'
