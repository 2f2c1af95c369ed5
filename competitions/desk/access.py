"""Who gets into the office desk: the show office of the competition and staff. Nothing here is public."""

from __future__ import annotations

from typing import Any, cast

from django.contrib.auth.mixins import LoginRequiredMixin
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.views import View

from competitions import policy
from competitions.models import Competition, CompetitionClass, Entry, PanelSeat, Sheet
from riders.models import User


class DeskView(LoginRequiredMixin, View):
    """A page of the desk for anyone who works in some show office; its subclasses narrow that to one competition."""

    permission = "run"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return self.handle_no_permission()
        _drop_unstorable(request, kwargs)
        self.load(**kwargs)
        return super().dispatch(request, *args, **kwargs)

    @property
    def person(self) -> User:
        """The one who is logged in; ``dispatch`` lets nobody else through."""
        return cast("User", self.request.user)

    def load(self, **_kwargs: str) -> None:
        if not (self.person.is_staff or policy.office_competitions(self.person).exists()):
            raise PermissionDenied("The office desk is for show offices. Ask the organiser to add you to the office.")


class CompetitionDeskView(DeskView):
    """A page about one competition, which the person must be allowed to run; to others it is closed or unknown."""

    competition: Competition

    def load(self, **kwargs: str) -> None:
        found = Competition.objects.select_related("association").filter(slug=kwargs["slug"])
        competition = get_object_or_404(found)
        if not policy.can(self.person, self.permission, competition):
            if policy.can(self.person, "view", competition):
                raise PermissionDenied("Only the show office of this competition works at its desk.")
            raise Http404
        self.competition = competition


class ClassDeskView(CompetitionDeskView):
    cls: CompetitionClass

    def load(self, **kwargs: str) -> None:
        super().load(**kwargs)
        found = self.competition.classes.select_related("competition", "test", "rule_set", "in_ring")
        self.cls = get_object_or_404(found, number=kwargs["number"])


class EntryDeskView(ClassDeskView):
    entry: Entry

    def load(self, **kwargs: str) -> None:
        super().load(**kwargs)
        found = self.cls.entries.select_related("pair__rider", "pair__horse__owner", "competition_class")
        self.entry = get_object_or_404(found, number=kwargs["entry"])


class SheetDeskView(EntryDeskView):
    seat: PanelSeat
    sheet: Sheet | None

    def load(self, **kwargs: str) -> None:
        super().load(**kwargs)
        self.seat = get_object_or_404(self.cls.seats.select_related("judge"), seat=kwargs["seat"])
        self.sheet = Sheet.objects.select_related("changed_by").filter(entry=self.entry, seat=self.seat).first()


def _drop_unstorable(request: HttpRequest, kwargs: dict[str, Any]) -> None:
    """Take NUL characters out of what was typed, which PostgreSQL cannot hold; an address with one is of nothing."""
    if any("\x00" in str(value) for value in kwargs.values()):
        raise Http404
    if any("\x00" in value for values in dict(request.POST.lists()).values() for value in values):
        cleaned = request.POST.copy()
        for name, values in request.POST.lists():
            cleaned.setlist(name, [value.replace("\x00", "") for value in values])
        request.POST = cleaned  # type: ignore[assignment]  # a QueryDict like the one before
