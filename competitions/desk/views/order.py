from __future__ import annotations

import secrets
from datetime import timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import ClassDeskView
from competitions.desk.ridegaps import short_changes
from competitions.desk.setuphistory import draws_of
from competitions.models import Entry
from competitions.services.entries import draw_running_order, set_running_order
from riders.errors import DomainError


class OrderView(ClassDeskView):
    """``desk-order``: the running order with its ride times; POST stores the order in which the ids come."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page(self._entries(), seed=secrets.token_hex(3))

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        sent = [int(pk) for pk in request.POST.getlist("entry") if pk.isdecimal()]
        move = request.POST.get("move", "")
        wanted = moved(sent, move) if move else sent
        try:
            set_running_order(self.cls, entry_ids=wanted, by=self.person)
        except DomainError as error:
            return self._page(self._entries(), seed=secrets.token_hex(3), problem=error.message, status=409)
        messages.success(request, "The running order is saved and the ride times are worked out anew.")
        return redirect("desk-order", self.competition.slug, self.cls.number)

    def _entries(self) -> list[Entry]:
        return list(self.cls.entries.select_related("pair__rider", "pair__horse").order_by("order", "number", "pk"))

    def _page(self, entries: list[Entry], *, seed: str, problem: str = "", status: int = 200) -> HttpResponse:
        zone = self.competition.zone
        breaks = {int(pause["after"]): pause["minutes"] for pause in self.cls.breaks}
        changes = [
            change
            for change in short_changes(self.competition)
            if self.cls.pk in {change.earlier.competition_class_id, change.later.competition_class_id}
        ]
        close = {entry.pk for change in changes for entry in (change.earlier, change.later)}
        rows = [
            {
                "entry": entry,
                "time": entry.ride_time.astimezone(zone) if entry.ride_time else None,
                "pause": breaks.get(place),
                "last": place == len(entries),
                "close": entry.pk in close,
            }
            for place, entry in enumerate(entries, start=1)
        ]
        last = entries[-1].ride_time if entries else None
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "rows": rows,
            "seed": seed,
            "problem": problem,
            "short_changes": changes,
            "ends_at": last.astimezone(zone) + timedelta(seconds=self.cls.interval_seconds) if last else None,
            "open": self.cls.open_for_changes,
            "started": any(entry.status not in {Entry.Status.ENTERED, Entry.Status.WITHDRAWN} for entry in entries),
            "draws": draws_of(self.cls),
            "interval": interval_text(self.cls.interval_seconds),
        }
        return render(self.request, "desk/order.html", context, status=status)


class DrawView(ClassDeskView):
    """``desk-draw``: draw the order by lot from a seed that is shown, so that the draw can be repeated."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        seed = request.POST.get("seed", "").strip()
        try:
            draw_running_order(self.cls, seed=seed, by=self.person)
        except DomainError as error:
            messages.error(request, error.message)
        else:
            messages.success(
                request,
                f'The order is drawn with the seed "{seed}". The same seed over the same entries draws it again.',
            )
        return redirect("desk-order", self.competition.slug, self.cls.number)


def interval_text(seconds: int) -> str:
    """Write an interval as ``8 minutes`` or ``7:30 minutes``."""
    minutes, rest = divmod(seconds, 60)
    return f"{minutes}:{rest:02d} minutes" if rest else f"{minutes} minutes"


def moved(ids: list[int], move: str) -> list[int]:
    """Return the ids with one moved by one place: ``move`` is ``up-<id>`` or ``down-<id>``; else nothing moves."""
    direction, _, which = move.partition("-")
    if not which.isdecimal() or int(which) not in ids or direction not in {"up", "down"}:
        return ids
    place = ids.index(int(which))
    other = place + (1 if direction == "down" else -1)
    if 0 <= other < len(ids):
        ids = list(ids)
        ids[place], ids[other] = ids[other], ids[place]
    return ids
