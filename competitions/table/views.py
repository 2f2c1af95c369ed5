"""The judge's table. Its pages are one shell without anybody's data, so that a device may keep it; the data is JSON."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any, cast

from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.gzip import gzip_page

from competitions.services.table import take_changes
from competitions.table.arriving import read_changes, states_after, verdict_document
from competitions.table.daydocument import day_document
from competitions.table.days import days_document, days_of
from riders.errors import Conflict, InvalidInput
from riders.models import User

_SHELL_FILES = (
    *("markbook.css", "table/table.css", "table/commentary.css", "table/recording.css"),
    *("desk/tally.js", "desk/typed_mark.js", "film/moments.js", "film/player.js"),
)
_WORKER = "table/worker.js"


class ShellView(LoginRequiredMixin, View):
    """The same page at every address of the table that shows sheets; its script shows what is asked for."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, **_: Any) -> HttpResponse:
        return HttpResponse(_shell(), headers={"Cache-Control": "no-cache"})


class WorkerView(View):
    """``table-worker``: what serves the pages below /table/ when the network does not. It holds nobody's data."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest) -> HttpResponse:
        assets = [static(name) for name in shell_files()]
        shell = reverse("table")
        edition = hashlib.sha256("\n".join([_shell(), *assets, *_contents()]).encode()).hexdigest()[:16]
        said = json.dumps({"edition": edition, "shell": shell, "assets": assets})
        return HttpResponse(
            f"const KEPT = {said};\n{_read(_WORKER)}",
            content_type="text/javascript; charset=utf-8",
            headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": shell},
        )


class TableData(View):
    """Data for the page's script: who is not logged in is told so in JSON, not sent to a page."""

    http_method_names = ["get", "head", "options"]

    @method_decorator(never_cache)
    @method_decorator(ensure_csrf_cookie)
    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return refusal(
                "logged-out", "You are logged out. Log in again: what is kept here is sent then.", status=401
            )
        return super().dispatch(request, *args, **kwargs)

    @property
    def person(self) -> User:
        """The one who is logged in; ``dispatch`` lets nobody else through."""
        return cast("User", self.request.user)


class DaysView(TableData):
    """``table-days``: the days on which this person writes sheets."""

    def get(self, _request: HttpRequest) -> HttpResponse:
        return JsonResponse(days_document(self.person, now=timezone.now()))


class DayDataView(TableData):
    """``table-day-data``: one day's sheets with all that is needed to write them, compressed for a weak network."""

    @method_decorator(gzip_page)
    def get(self, _request: HttpRequest, slug: str, day: date) -> HttpResponse:
        wanted = [found for found in days_of(self.person) if found.competition.slug == slug and found.date == day]
        if not wanted:
            raise Http404
        return JsonResponse(day_document(wanted[0], user=self.person))


class ChangesView(TableData):
    """``table-changes``: takes changes in their order and says of each what became of it."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest) -> HttpResponse:
        try:
            document = json.loads(request.body)
            changes, refused = read_changes(document, by=self.person)
        except (ValueError, RecursionError):  # the latter where it is nested without end
            return refusal("invalid", "What was sent is not JSON.", status=400)
        except InvalidInput as error:
            return refusal(error.code, error.message, status=400)
        if document.get("user") != self.person.pk:
            return refusal("other-user", f"This browser is logged in as {self.person}.", status=409)
        try:
            verdicts = take_changes(changes, by=self.person)
        except Conflict as error:
            return refusal("busy", error.message, status=503)
        answers = [verdict_document(verdict) for verdict in [*verdicts, *refused]]
        return JsonResponse({"answers": answers, **states_after(changes)})


def shell_files() -> list[str]:
    """Return the static files that the pages are made of, the modules that import each other among them."""
    folder = Path(_found(_WORKER)).parent
    modules = sorted(f"table/{path.name}" for path in folder.glob("*.js") if path.name != Path(_WORKER).name)
    return [*_SHELL_FILES, *modules]


def _shell() -> str:
    return render_to_string("table/table.html")


def _contents() -> Iterator[str]:
    """Yield what the files hold: where files are not named by their content, the edition follows it all the same."""
    for name in [*shell_files(), _WORKER]:
        yield _read(name)


def _read(name: str) -> str:
    return Path(_found(name)).read_text(encoding="utf-8")


def _found(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str):
        raise Http404
    return found


def refusal(code: str, message: str, *, status: int, problems: Sequence[str] = ()) -> JsonResponse:
    """Say in JSON why something is not done; ``problems`` are sentences, where there are several."""
    said = {"code": code, "message": message, "login": reverse("login")}
    return JsonResponse(said | ({"problems": list(problems)} if problems else {}), status=status)
