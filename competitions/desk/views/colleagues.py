"""The people of an office, and the accounts of its judges."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from competitions import policy
from competitions.desk.access import CompetitionDeskView
from competitions.desk.setuphistory import competition_history
from competitions.models import Judge, PanelSeat
from competitions.services.colleagues import add_colleague, link_judge, may_link, remove_colleague
from riders.errors import DomainError


class ColleaguesView(CompetitionDeskView):
    """``desk-colleagues``: ``do`` says what is asked for: ``add``, ``remove`` or ``link``."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        account, wanted = request.POST.get("account", ""), request.POST.get("do", "")
        try:
            said = {"remove": self._remove, "link": self._link}.get(wanted, self._add)(account)
        except DomainError as error:
            return self._page(problem=error.message, typed=account, at=request.POST.get("judge", wanted))
        messages.success(request, said)
        if not policy.can(self.person, "run", self.competition):
            return redirect("desk")
        return redirect("desk-colleagues", self.competition.slug)

    def _add(self, account: str) -> str:
        return f"{add_colleague(self.competition, account=account, by=self.person)} works in this office now."

    def _remove(self, account: str) -> str:
        person = remove_colleague(self.competition, account=account, by=self.person)
        return f"{person} does not work in this office any more."

    def _link(self, account: str) -> str:
        number = self.request.POST.get("judge", "")
        judge = Judge(pk=int(number) if number.isdecimal() and len(number) < 18 else 0)
        found = link_judge(self.competition, judge, account=account, by=self.person)
        if found.user is None:
            return f"{found.name} has no account here any more."
        return f"{found.name} logs in as {found.user.username} and finds the sheets under My page."

    def _page(self, *, problem: str = "", typed: str = "", at: str = "") -> HttpResponse:
        seats = PanelSeat.objects.filter(competition_class__competition=self.competition, judge__isnull=False)
        judges = Judge.objects.filter(pk__in=seats.values("judge")).select_related("user").order_by("name", "pk")
        classes: dict[int, list[str]] = {}
        for seat in seats.select_related("competition_class").order_by("competition_class__number", "pk"):
            classes.setdefault(seat.judge_id or 0, []).append(f"{seat.competition_class.number} at {seat.seat}")
        context = {
            "competition": self.competition,
            "people": self.competition.office_roles.select_related("user").order_by("user__username"),
            "judges": [(judge, ", ".join(classes[judge.pk]), may_link(self.person, judge)) for judge in judges],
            "problem": problem,
            "typed": typed,
            "at": at,
        }
        return render(self.request, "desk/colleagues.html", context, status=422 if problem else 200)


class CompetitionHistoryView(CompetitionDeskView):
    """``desk-competition-history``."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        context = {
            "competition": self.competition,
            "changes": competition_history(self.competition),
            "classes": self.competition.classes.order_by("date", "starts_at", "number", "pk"),
        }
        return render(request, "desk/competition_history.html", context)
