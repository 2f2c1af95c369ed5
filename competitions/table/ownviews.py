"""Pages of a judge's own view, and what the judge opens of it to others."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.mixins import LoginRequiredMixin
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache

from competitions import policy
from competitions.models import PanelSeat, PanelShare
from competitions.selectors.comparison import panel_comparison
from competitions.services.panelshares import (
    open_shares,
    share_by_link,
    share_for_account,
    share_of_link,
    share_with_account,
    shares_with,
    take_back,
)
from competitions.table.judging import compared_seats, seats_to_finish
from riders.errors import InvalidInput
from riders.models import User


class _OwnView(LoginRequiredMixin, View):
    http_method_names = ["get", "head", "options"]

    @method_decorator(never_cache)
    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return super().dispatch(request, *args, **kwargs)

    @property
    def person(self) -> User:
        """The one who is logged in; ``dispatch`` lets nobody else through."""
        return cast("User", self.request.user)


class JudgingView(_OwnView):
    """``table-judging``: sheets to finish, own marks beside the panels', and what colleagues have opened to me."""

    def get(self, request: HttpRequest) -> HttpResponse:
        context = {
            "unfinished": seats_to_finish(self.person),
            "compared": compared_seats(self.person),
            "shared": shares_with(self.person),
        }
        return render(request, "table/judging.html", context)


class PanelView(_OwnView):
    """``table-panel``: a judge's own marks beside the panel's, once results are official; POST opens it to others."""

    http_method_names = ["get", "head", "post", "options"]

    def get(self, request: HttpRequest, slug: str, number: str, seat: str) -> HttpResponse:
        return self._page(request, self._seat(slug, number, seat))

    def post(self, request: HttpRequest, slug: str, number: str, seat: str) -> HttpResponse:
        found = self._seat(slug, number, seat)
        typed = request.POST.get("account", "")
        try:
            if request.POST.get("kind") == "link":
                _, plain = share_by_link(found, by=self.person)
                return self._page(request, found, plain=plain)
            share = share_with_account(found, account=typed.replace("\0", ""), by=self.person)
        except InvalidInput as error:
            return self._page(request, found, problem=error.message, typed=typed[:150], status=422)
        messages.success(request, f"{share.account} sees this comparison now, until you take it back.")
        return redirect(request.path)

    def _page(self, request: HttpRequest, seat: PanelSeat, *, status: int = 200, **said: str) -> HttpResponse:
        cls = seat.competition_class
        context = {
            "seat": seat,
            "cls": cls,
            "competition": cls.competition,
            "comparison": panel_comparison(seat),
            "shares": open_shares(seat, by=self.person),
            **said,
        }
        return render(request, "table/panel.html", context, status=status)

    def _seat(self, slug: str, number: str, seat: str) -> PanelSeat:
        seats = PanelSeat.objects.select_related(
            "judge",
            "competition_class__competition",
            "competition_class__test",
            "competition_class__rule_set",
        )
        found = get_object_or_404(
            seats, competition_class__competition__slug=slug, competition_class__number=number, seat=seat
        )
        if not policy.can(self.person, "compare", found):
            raise Http404
        return found


class TakeBackView(_OwnView):
    """``table-share-back``: ends a share; only the one who opened it."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        share = get_object_or_404(
            PanelShare.objects.select_related("seat__competition_class__competition"), pk=pk, by=self.person
        )
        take_back(share)
        messages.success(request, "It is taken back: from now on nobody sees the comparison through it.")
        cls = share.seat.competition_class
        return redirect("table-panel", cls.competition.slug, cls.number, share.seat.seat)


class SharedWithMeView(_OwnView):
    """``table-shared-with-me``: a colleague's comparison, opened to this account."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return _shared_page(request, share_for_account(self.person, pk))


class SharedLinkView(View):
    """``table-shared``: a judge's comparison for whoever has the link, while it holds."""

    http_method_names = ["get", "head", "options"]

    @method_decorator(never_cache)
    def get(self, request: HttpRequest, link: str) -> HttpResponse:
        return _shared_page(request, share_of_link(link))


def _shared_page(request: HttpRequest, share: PanelShare | None) -> HttpResponse:
    if share is None:
        raise Http404
    cls = share.seat.competition_class
    comparison = panel_comparison(share.seat)
    context = {"share": share, "cls": cls, "competition": cls.competition, "comparison": comparison}
    response = render(request, "table/shared.html", context)
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Referrer-Policy"] = "no-referrer"
    return response
