"""Entries, marks and outcomes that come in as a file or pasted, and go out again as they would come in."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from typing import TypeVar, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render

from competitions.desk.access import CompetitionDeskView
from competitions.desk.exchange import read_upload
from competitions.services import exports, imports
from competitions.services.bundles import bundle_text
from riders.errors import DomainError, InvalidInput
from riders.intake import Imported
from riders.models import User


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file: what it is called, its columns, and two rows to show what it looks like."""

    title: str
    required: str
    optional: str
    example: str


KINDS = {
    "entries": Kind(
        "Entries",
        "class, number, rider, horse",
        "order, ride_time, rider_registration, horse_registration, horse_born, owner, team, hors_concours",
        "class,number,rider,horse,rider_registration,horse_registration\n"
        "3,12,Ottilie Brandmair,Quillon,R1001,H2001\n3,14,Casper Wendt,Marram Grass,,\n",
    ),
    "marks": Kind(
        "Marks",
        "class, number, seat, item, mark",
        "remark, signed (a row without item and mark holds the sheet's overall remarks, and true where it is signed)",
        "class,number,seat,item,mark,remark\n3,12,C,1,6.5,straight entry\n3,12,C,2,7,\n3,12,C,,,a promising pair\n",
    ),
    "outcomes": Kind(
        "Outcomes",
        "class, number",
        "status, errors, reason, deduction_off, deduction_amount, deduction_seat, deduction_part, deduction_reason",
        "class,number,status,errors,reason\n3,14,retired,,horse not level\n3,12,,1,\n",
    ),
}


class ImportView(CompetitionDeskView):
    """``desk-import``: all of a file or nothing of it; every problem is named by its row."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, *, kind: str, **_: str) -> HttpResponse:
        return self._page(kind, {"text": ""})

    def post(self, request: HttpRequest, *, kind: str, **_: str) -> HttpResponse:
        self._kind(kind)
        text, problems = read_upload(request)
        if not problems:
            try:
                summary = self._take_in(kind, text)
            except InvalidInput as error:
                problems = error.problems or [("file", error.message)]
            except DomainError as error:
                problems = [("file", error.message)]
            else:
                messages.success(request, f"{KINDS[kind].title} are imported: {summary}.")
                return redirect("desk-competition", self.competition.slug)
        context: dict[str, object] = {
            "text": text,
            "problems": problems,
            "replace": request.POST.get("replace"),
            "row_count": _rows_in(text),
        }
        return self._page(kind, context, status=422)

    def _take_in(self, kind: str, text: str) -> Imported:
        user = cast("User", self.request.user)
        if kind == "marks":
            replace = self.request.POST.get("replace") == "yes"
            return imports.import_marks(self.competition, text, by=user, replace=replace)
        taken_in = imports.import_entries if kind == "entries" else imports.import_outcomes
        return taken_in(self.competition, text, by=user)

    @staticmethod
    def _kind(kind: str) -> Kind:
        if kind not in KINDS:
            raise Http404
        return KINDS[kind]

    def _page(self, kind: str, context: dict[str, object], *, status: int = 200) -> HttpResponse:
        context |= {"competition": self.competition, "kind": kind, "about": self._kind(kind), "kinds": KINDS}
        return render(self.request, "desk/import.html", context, status=status)


class ExportView(CompetitionDeskView):
    """``desk-export``: what could be imported again, as a file."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, *, kind: str, **_: str) -> HttpResponse | StreamingHttpResponse:
        slug = self.competition.slug
        if kind == "competition":
            text = json.dumps(exports.competition_document(self.competition), ensure_ascii=False, indent=2)
            return _as_file(HttpResponse(text, content_type="application/json"), f"{slug}.json")
        lines = {"entries": exports.entries_csv, "marks": exports.marks_csv, "outcomes": exports.outcomes_csv}.get(kind)
        if lines is None:
            raise Http404
        response = StreamingHttpResponse(lines(self.competition), content_type="text/csv; charset=utf-8")
        return _as_file(response, f"{slug}-{kind}.csv")


class BundleView(CompetitionDeskView):
    """``desk-bundle``: the official results as one file for the association."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        slug = self.competition.slug
        try:
            text = bundle_text(self.competition)
        except DomainError as error:
            messages.error(request, error.message)
            return redirect("desk-competition", slug)
        return _as_file(HttpResponse(text, content_type="application/json"), f"{slug}-results.json")


def _rows_in(text: str) -> int:
    """Count the rows under the header; of a file that is no CSV nothing is counted, the problems say why."""
    try:
        return max(0, sum(1 for _ in csv.reader(io.StringIO(text))) - 1)
    except csv.Error:
        return 0


_Response = TypeVar("_Response", HttpResponse, StreamingHttpResponse)


def _as_file(response: _Response, name: str) -> _Response:
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response
