"""Sheets keyed twice: the list of a class, keying blind, the two keyings side by side, and the file of differences."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

import scoring
from competitions.desk.access import ClassDeskView, SheetDeskView
from competitions.desk.keyings import (
    choice_lines,
    compared_in_words,
    keyings_csv,
    listed,
    may_key_again,
    next_to_key,
    read_choices,
    reading_of,
)
from competitions.desk.presence import note_closing, note_opening
from competitions.desk.sheetpage import page_data, sheet_rows
from competitions.desk.typed import EMPTY, MOST_ERRORS, TypedSheet, read_typed, values_of_record
from competitions.models import SecondKeying
from competitions.selectors.consequences import consequences
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.keyings import DIFFERS, FINAL, WAITING, Keyings, keyings_of_sheet, mode_of
from competitions.services.keyings import (
    Settlement,
    choose_sheets,
    key_again,
    note_first_seen,
    refuse_second_keyer,
    settle_differences,
)
from riders.errors import Conflict, DomainError, InvalidInput, NotAllowed

_WHERE = {"deducted", "deducted-percent"}
# Offered on the number pad; any other words do as well.
REASONS = ("the paper is clear", "a figure was mistyped", "a line was skipped", "the judge was asked")


class ClassKeyingsView(ClassDeskView):
    """``desk-keyings``: every sheet of a class that is keyed twice; choosing them where the class keys chosen ones."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        try:
            changed = choose_sheets(self.cls, places=read_choices(request.POST.getlist("sheet")), by=self.person)
        except InvalidInput as error:
            return self._page(problem=error.message, status=422)
        except DomainError as error:
            return self._page(problem=error.message, status=409)
        many = "1 sheet" if changed == 1 else f"{changed} sheets"
        messages.success(request, f"Saved: {many} chosen differently." if changed else "Nothing was changed.")
        return redirect("desk-keyings", self.competition.slug, self.cls.number)

    def _page(self, *, problem: str = "", status: int = 200) -> HttpResponse:
        lines = listed(self.cls, self.person)
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "mode": mode_of(self.cls),
            "lines": lines,
            "waiting": sum(line.keyings.state == WAITING for line in lines),
            "differing": sum(line.keyings.state == DIFFERS for line in lines),
            "final": sum(line.keyings.state == FINAL for line in lines),
            "next": next((line for line in lines if line.mine), None),
            "choices": choice_lines(self.cls),
            "seats": self.cls.seats.all(),
            "open": self.cls.open_for_changes,
            "problem": problem,
        }
        return render(self.request, "desk/keyings.html", context, status=status)


class KeyingsFileView(ClassDeskView):
    """``desk-keyings-file``: the differences of a class and what was decided, as a file."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> StreamingHttpResponse:
        response = StreamingHttpResponse(keyings_csv(self.cls), content_type="text/csv; charset=utf-8")
        name = f"{self.competition.slug}-{self.cls.number}-keyings.csv"
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        response["Cache-Control"] = "no-store"
        return response


class _KeyedTwiceView(SheetDeskView):
    """A page about one sheet of those that are keyed twice."""

    keyings: Keyings | None

    def load(self, **kwargs: str) -> None:
        super().load(**kwargs)
        self.keyings = keyings_of_sheet(self.cls, entry=self.entry, seat=self.seat)

    @property
    def items(self) -> tuple[scoring.Item, ...]:
        return items_of_seat(test_of(self.cls), self.seat)

    @property
    def place(self) -> list[str]:
        return [self.competition.slug, self.cls.number, self.entry.number, self.seat.seat]

    def context(self) -> dict[str, object]:
        return {
            "competition": self.competition,
            "cls": self.cls,
            "entry": self.entry,
            "seat": self.seat,
            "open": self.cls.open_for_changes,
        }


class KeyAgainView(_KeyedTwiceView):
    """``desk-key-again``: the empty fields of a sheet for someone who has not seen the first keying."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        refused = self._elsewhere(request)
        if refused is not None:
            return refused
        values = values_of_record(EMPTY, items=self.items, errors=0) | dict.fromkeys((*_WHERE, "errors"), "")
        return self._page(values, version=self._last_keying())

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        data = request.POST.dict()
        typed = read_typed(data, items=self.items)
        typed.values |= {name: data.get(name, "") for name in _WHERE}
        version = _whole(data.get("version"))
        if typed.problems:
            return self._refused(typed, version=version, status=422)
        remarks = self.competition.second_keying_remarks
        try:
            done = key_again(
                entry=self.entry,
                seat=self.seat,
                read=reading_of(typed.values, items=self.items, remarks=remarks),
                by=self.person,
                seen=version,
            )
        except InvalidInput as error:
            typed.problems = [(name.replace(".", "-"), text) for name, text in error.problems] or [("", error.message)]
            return self._refused(typed, version=version, status=422)
        except Conflict as error:
            typed.problems = [("", error.message)]
            return self._refused(typed, version=self._last_keying(), status=409)
        except DomainError as error:
            typed.problems = [("", error.message)]
            return self._refused(typed, version=version, status=403)
        return self._saved(typed, done, then=data.get("then", ""))

    def _elsewhere(self, request: HttpRequest) -> HttpResponse | None:
        """Lead away from a sheet that is not keyed again, or not by this person, and say why."""
        if self.keyings is None or self.sheet is None:
            messages.info(request, "This sheet is not keyed a second time, or its first keying is not complete.")
            return redirect("desk-sheet", *self.place)
        try:
            refuse_second_keyer(self.sheet, self.person)
        except NotAllowed as error:
            messages.info(request, error.message)
            return redirect("desk-sheet" if self.keyings.state == WAITING else "desk-keyings-compared", *self.place)
        return None

    def _last_keying(self) -> int:
        rows = SecondKeying.objects.filter(sheet=self.sheet) if self.sheet else SecondKeying.objects.none()
        return rows.order_by("-pk").values_list("pk", flat=True).first() or 0

    def _saved(self, typed: TypedSheet, done: Keyings, *, then: str) -> HttpResponse:
        note_closing(entry=self.entry, seat=self.seat, by=self.person)
        said = compared_in_words(done)
        if done.state != FINAL:
            target = reverse("desk-keyings-compared", args=self.place)
        elif then in {"ride", "seat"}:
            self.request.session["desk_then"] = then
            target = next_to_key(self.cls, self.person, after=done, way=then)
        else:
            target = reverse("desk-keyings", args=[self.competition.slug, self.cls.number])
        messages.success(self.request, f"Sheet {self.seat.seat} of number {self.entry.number}: {said}")
        if not self._wants_json:
            return redirect(target)
        version = done.keying.pk if done.keying else 0
        return JsonResponse(
            {"version": version, "errors": 0, "values": typed.values, "message": f"Saved. {said}", "next": target}
        )

    def _refused(self, typed: TypedSheet, *, version: int, status: int) -> HttpResponse:
        if self._wants_json:
            problems = [{"field": name, "sentence": sentence} for name, sentence in typed.problems]
            return JsonResponse({"problems": problems, "version": version}, status=status)
        return self._page(typed.values, version=version, typed=typed, status=status)

    @property
    def _wants_json(self) -> bool:
        return self.request.headers.get("Accept", "").startswith("application/json")

    def _page(
        self, values: dict[str, str], *, version: int, typed: TypedSheet | None = None, status: int = 200
    ) -> HttpResponse:
        problems = typed.problems if typed else []
        data = page_data(self.cls, entry=self.entry, seat=self.seat, user=self.person)
        data |= {
            "again": True,
            "deductions": [],
            "stateUrl": reverse("desk-key-again-state", args=self.place),
            "draftKey": f"again/{data['draftKey']}",
        }
        context = self.context() | {
            "again": True,
            "remarks": self.competition.second_keying_remarks,
            "values": values,
            "percent_typed": values["deducted-percent"],
            "rows": sheet_rows(self.items, values, problems),
            "problems": problems,
            "problem_of": dict(problems),
            "version": version,
            "errors_base": 0,
            "openings": note_opening(entry=self.entry, seat=self.seat, by=self.person),
            "most_errors": MOST_ERRORS,
            "consequences": consequences(self.cls),
            "then": self.request.session.get("desk_then", "ride"),
            "data": data,
        }
        return render(self.request, "desk/key_again.html", context, status=status)


class KeyAgainStateView(_KeyedTwiceView):
    """``desk-key-again-state``: whether somebody else has keyed the sheet again, and who has it open."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        openings = note_opening(entry=self.entry, seat=self.seat, by=self.person)
        last = SecondKeying.objects.filter(sheet=self.sheet).select_related("by").last() if self.sheet else None
        return JsonResponse(
            {
                "version": last.pk if last else 0,
                "changed_by": str(last.by or "") if last else "",
                "changed_at": last.at.astimezone(self.competition.zone).strftime("%H:%M") if last else "",
                "open_by": [opening.name for opening in openings],
            },
            headers={"Cache-Control": "no-store"},
        )


class FirstKeyingView(_KeyedTwiceView):
    """``desk-first-keying``: open the first keying of a sheet that waits; whoever does cannot key it blind any more."""

    http_method_names = ["post", "options"]

    def post(self, _request: HttpRequest, **_: str) -> HttpResponse:
        if self.sheet is not None and may_key_again(self.sheet, self.keyings, self.person):
            note_first_seen(self.sheet, by=self.person)
        return redirect("desk-sheet", *self.place)


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """One difference with the fields that decide it; ``name`` is safe in a form and as an id."""

    name: str
    field: str
    label: str
    first: str
    second: str
    decided: str
    choice: str
    other: str
    reason: str
    problem: str


class KeyingsComparedView(_KeyedTwiceView):
    """``desk-keyings-compared``: the two keyings side by side, and deciding what the paper says."""

    http_method_names = ["get", "post", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        if self.keyings is None or self.keyings.keying is None:
            messages.info(request, "This sheet has not been keyed a second time, so there is nothing to compare yet.")
            return redirect("desk-keyings", self.competition.slug, self.cls.number)
        return self._page()

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        try:
            now = settle_differences(
                entry=self.entry,
                seat=self.seat,
                settlements=list(self._settlements()),
                by=self.person,
                keying=_whole(request.POST.get("keying")),
            )
        except InvalidInput as error:
            return self._page(problem=error.message, problems=dict(error.problems), status=422)
        except Conflict as error:
            self.load(**self.kwargs)
            return self._page(problem=error.message, status=409)
        except DomainError as error:
            return self._page(problem=error.message, status=403)
        if now is None:
            messages.warning(request, "Decided. The sheet has a gap now: complete it.")
            return redirect("desk-sheet", *self.place)
        said = "the sheet is final." if now.state == FINAL else f"{len(now.differences)} left."
        messages.success(request, f"Sheet {self.seat.seat} of number {self.entry.number}: {said}")
        if now.state != FINAL:
            return redirect("desk-keyings-compared", *self.place)
        return redirect(next_to_key(self.cls, self.person, after=now, way=request.session.get("desk_then", "ride")))

    def _settlements(self) -> list[Settlement]:
        """Return what was chosen; rows without a choice are left for later."""
        data = self.request.POST
        common = data.get("reason-all", "").strip()
        found = []
        for name in data.getlist("field"):
            choice, first, second = (data.get(f"{key}-{name}", "") for key in ("choice", "first", "second"))
            if choice not in {"first", "second", "other"}:
                continue
            value = {"first": first, "second": second, "other": data.get(f"other-{name}", "")}[choice]
            reason = data.get(f"reason-{name}", "").strip() or common
            found.append(Settlement(field=name, value=value, reason=reason, first=first, second=second))
        return found

    def _page(self, *, problem: str = "", problems: dict[str, str] | None = None, status: int = 200) -> HttpResponse:
        keyings = self.keyings
        if keyings is None or keyings.keying is None:
            messages.error(self.request, problem)
            return redirect("desk-keyings", self.competition.slug, self.cls.number)
        data = self.request.POST
        rows = [
            ComparedRow(
                name=f"d{index}",
                field=row.field,
                label=row.label,
                first=row.first,
                second=row.second,
                decided=row.decided.value if row.decided else "",
                choice=data.get(f"choice-{row.field}", ""),
                other=data.get(f"other-{row.field}", ""),
                reason=data.get(f"reason-{row.field}", ""),
                problem=(problems or {}).get(row.field, ""),
            )
            for index, row in enumerate(keyings.differences, start=1)
        ]
        context = self.context() | {
            "keyings": keyings,
            "keying": keyings.keying,
            "first_by": self.sheet.revisions.select_related("by").order_by("version").first() if self.sheet else None,
            "rows": rows,
            "decisions": [(keyings.labels.get(row.field, row.field), row) for row in keyings.decisions],
            "problem": problem,
            "reasons": REASONS,
            "reason_all": data.get("reason-all", ""),
        }
        return render(self.request, "desk/keyings_compared.html", context, status=status)


def _whole(text: str | None) -> int:
    """Read a hidden number; anything else counts as never seen, which makes the saving ask."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else 0
