"""Keying a sheet: the page, its saving with and without script, and its history."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

import scoring
from competitions.desk.access import SheetDeskView
from competitions.desk.history import sheet_history
from competitions.desk.keyings import may_key_again
from competitions.desk.paper import compare_total
from competitions.desk.presence import note_closing, note_opening
from competitions.desk.queue import neighbours, next_sheet
from competitions.desk.sheetpage import page_data, sheet_rows
from competitions.desk.twokeyers import Difference, apply_choices, base_values, differences
from competitions.desk.typed import MOST_ERRORS, TypedSheet, read_typed, values_of
from competitions.models import Sheet, SheetRevision
from competitions.selectors.consequences import consequences
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.keyings import Keyings, keyings_of_sheet
from competitions.selectors.summaries import summary_of
from competitions.services.entries import set_outcome
from competitions.services.sheets import save_sheet
from riders.errors import Conflict, DomainError, InvalidInput

_RECENT_MINUTES = 10


@dataclass(frozen=True, slots=True)
class Clash:
    """Somebody else saved first: who, when, what was opened, what stands now, and every field that differs."""

    by: str
    at: datetime | None
    opened: int
    opened_errors: int
    version: int
    errors: int
    rows: list[Difference]


class SheetView(SheetDeskView):
    """``desk-sheet``: GET shows the fields, POST saves them. Scripts ask for JSON; without them the page comes back."""

    http_method_names = ["get", "post", "head", "options"]
    keyings: Keyings | None = None

    @property
    def address(self) -> list[str]:
        return [self.competition.slug, self.cls.number, self.entry.number, self.seat.seat]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        self.keyings = keyings_of_sheet(self.cls, entry=self.entry, seat=self.seat)
        if may_key_again(self.sheet, self.keyings, self.person):
            return redirect("desk-key-again", *self.address)
        values = values_of(self.sheet, items=self.items, errors=self.entry.errors)
        return self._page(values, version=self.sheet.version if self.sheet else 0, errors_base=self.entry.errors)

    def post(self, request: HttpRequest, **_: str) -> HttpResponse:
        data = request.POST.dict()
        version, errors_base = _whole(data.get("version")), _whole(data.get("errors_base"))
        theirs = values_of(self.sheet, items=self.items, errors=self.entry.errors)
        typed = read_typed(apply_choices(data, theirs=theirs), items=self.items)
        if typed.problems:
            return self._refused(typed, version=version, errors_base=errors_base, status=422)
        if any(data.get(f"keep-{name}") not in {"mine", "theirs"} for name in request.POST.getlist("choose")):
            version, errors_base = _whole(data.get("opened")), _whole(data.get("opened_errors"))
        clash = self._clash(typed, version=version, errors_base=errors_base)
        if clash is not None and not clash.rows:  # both typed the same
            version, errors_base, clash = clash.version, clash.errors, None
        if clash is None:
            try:
                return self._saved(typed, version=version, errors_base=errors_base, then=data.get("then", ""))
            except Conflict:
                self.load(**self.kwargs)
                clash = self._clash(typed, version=version, errors_base=errors_base)
            except InvalidInput as error:
                typed.problems = error.problems or [("", error.message)]
                return self._refused(typed, version=version, errors_base=errors_base, status=422)
            except DomainError as error:
                typed.problems = [("", error.message)]
                return self._refused(typed, version=version, errors_base=errors_base, status=403)
        return self._clashed(typed, clash, version=version, errors_base=errors_base)

    @property
    def items(self) -> tuple[scoring.Item, ...]:
        return items_of_seat(test_of(self.cls), self.seat)

    def _clash(self, typed: TypedSheet, *, version: int, errors_base: int) -> Clash | None:
        """Say what differs where someone else has changed the sheet or the errors since they were opened."""
        now = self.sheet.version if self.sheet else 0
        errors_moved = self.entry.errors not in {errors_base, typed.errors} and typed.errors != errors_base
        if now == version and not errors_moved:
            return None
        theirs = values_of(self.sheet, items=self.items, errors=self.entry.errors)
        base = base_values(self.sheet, version=version, items=self.items, errors=errors_base)
        rows = differences(typed, theirs=theirs, base=base, items=self.items)
        if now == version:
            rows = [row for row in rows if row.field == "errors"]
        by = str(self.sheet.changed_by) if self.sheet and self.sheet.changed_by and now != version else "Someone else"
        at = self.sheet.changed_at if self.sheet and now != version else timezone.now()
        return Clash(by, at, version, errors_base, now, self.entry.errors, rows)

    def _saved(self, typed: TypedSheet, *, version: int, errors_base: int, then: str) -> HttpResponse:
        saved = save_sheet(
            entry=self.entry,
            seat=self.seat,
            expected_version=version,
            changes=typed.changes(),
            by=self.person,
            source=SheetRevision.Source.DESK,
            reason=self.cls.correction_reason,
        )
        self.entry.refresh_from_db()
        if typed.errors not in {errors_base, self.entry.errors}:
            set_outcome(
                self.entry,
                expected_version=self.entry.version,
                by=self.person,
                errors=typed.errors,
                why=f"errors of course keyed with sheet {self.seat.seat}",
            )
            saved.sheet.entry.refresh_from_db()
        target = self._target(then)
        if not self._wants_json:
            messages.success(self.request, f"Sheet {self.seat.seat} of number {self.entry.number} is saved.")
            return redirect(target)
        if then:
            note_closing(entry=self.entry, seat=self.seat, by=self.person)
        sheet = saved.sheet
        sheet.entry = self.entry
        summary = summary_of(sheet, competition_class=self.cls)
        return JsonResponse(
            {
                "version": sheet.version,
                "errors": self.entry.errors,
                "points": summary.points,
                "percentage": summary.percentage,
                "missing": summary.missing,
                "values": values_of(sheet, items=self.items, errors=self.entry.errors),
                "paper": asdict(compare_total(sheet.typed_total, summary)),
                "message": f"Saved. {_standing(summary, given=sheet.given_result is not None)}",
                "next": target,
            }
        )

    def _target(self, then: str) -> str:
        """Return where to go after saving: the next sheet of the way that was chosen, or this page."""
        if then in {"ride", "seat"}:
            self.request.session["desk_then"] = then
            following = next_sheet(self.cls, entry=self.entry, seat=self.seat, way=then)
            if following is None:
                return reverse("desk-class", args=[self.competition.slug, self.cls.number])
            entry, seat = following
        elif then == "class":
            return reverse("desk-class", args=[self.competition.slug, self.cls.number])
        else:
            entry, seat = self.entry, self.seat
        return reverse("desk-sheet", args=[self.competition.slug, self.cls.number, entry.number, seat.seat])

    def _refused(self, typed: TypedSheet, *, version: int, errors_base: int, status: int) -> HttpResponse:
        if self._wants_json:
            return JsonResponse(
                {"problems": [{"field": name, "sentence": sentence} for name, sentence in typed.problems]},
                status=status,
            )
        return self._page(typed.values, version=version, errors_base=errors_base, typed=typed, status=status)

    def _clashed(self, typed: TypedSheet, clash: Clash | None, *, version: int, errors_base: int) -> HttpResponse:
        if clash is None:
            typed.problems = [("", "The sheet was changed at this very moment. Save once more.")]
            return self._refused(typed, version=version, errors_base=errors_base, status=409)
        if self._wants_json:
            html = render_to_string("desk/clash.html", {"clash": clash, "competition": self.competition})
            theirs = values_of(self.sheet, items=self.items, errors=self.entry.errors)
            return JsonResponse(
                {"html": html, "version": clash.version, "errors": clash.errors, "theirs": theirs}, status=409
            )
        return self._page(typed.values, version=clash.version, errors_base=clash.errors, clash=clash, status=409)

    @property
    def _wants_json(self) -> bool:
        return self.request.headers.get("Accept", "").startswith("application/json")

    def _page(
        self,
        values: dict[str, str],
        *,
        version: int,
        errors_base: int,
        typed: TypedSheet | None = None,
        clash: Clash | None = None,
        status: int = 200,
    ) -> HttpResponse:
        problems = typed.problems if typed else []
        before, after = neighbours(self.cls, entry=self.entry)
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "entry": self.entry,
            "seat": self.seat,
            "sheet": self.sheet,
            "second_keying": self.keyings,
            "seats": self.cls.seats.all(),
            "values": values,
            "rows": sheet_rows(self.items, values, problems),
            "problems": problems,
            "problem_of": dict(problems),
            "version": version,
            "errors_base": errors_base,
            "clash": clash,
            "openings": note_opening(entry=self.entry, seat=self.seat, by=self.person),
            "recent": self._recent_change(),
            "consequences": consequences(self.cls),
            "most_errors": MOST_ERRORS,
            "then": self.request.session.get("desk_then", "ride"),
            "before": before,
            "after": after,
            "open": self.cls.open_for_changes,
            "data": page_data(self.cls, entry=self.entry, seat=self.seat, user=self.person),
        }
        return render(self.request, "desk/sheet.html", context, status=status)

    def _recent_change(self) -> Sheet | None:
        """Return the sheet when somebody else changed it in the last minutes."""
        sheet = self.sheet
        if sheet is None or sheet.changed_at is None or sheet.changed_by_id == self.request.user.pk:
            return None
        age = timezone.now() - sheet.changed_at
        return sheet if age.total_seconds() <= _RECENT_MINUTES * 60 else None


class SheetStateView(SheetDeskView):
    """``desk-sheet-state``: the version of a sheet and who else has it open, asked for while a page is open."""

    http_method_names = ["get", "head", "options"]

    def get(self, _request: HttpRequest, **_: str) -> HttpResponse:
        openings = note_opening(entry=self.entry, seat=self.seat, by=self.person)
        sheet = self.sheet
        zone = self.competition.zone
        return JsonResponse(
            {
                "version": sheet.version if sheet else 0,
                "changed_by": str(sheet.changed_by) if sheet and sheet.changed_by else "",
                "changed_at": sheet.changed_at.astimezone(zone).strftime("%H:%M") if sheet and sheet.changed_at else "",
                "open_by": [opening.name for opening in openings],
            },
            headers={"Cache-Control": "no-store"},
        )


class SheetHistoryView(SheetDeskView):
    """``desk-sheet-history``: every saving of a sheet with what it changed."""

    http_method_names = ["get", "head", "options"]

    def get(self, request: HttpRequest, **_: str) -> HttpResponse:
        keyings = keyings_of_sheet(self.cls, entry=self.entry, seat=self.seat)
        if may_key_again(self.sheet, keyings, self.person):
            return redirect("desk-key-again", self.competition.slug, self.cls.number, self.entry.number, self.seat.seat)
        changes = sheet_history(self.sheet, cls=self.cls, seat=self.seat) if self.sheet else []
        context = {
            "competition": self.competition,
            "cls": self.cls,
            "entry": self.entry,
            "seat": self.seat,
            "changes": changes,
        }
        return render(request, "desk/sheet_history.html", context)


def _whole(text: str | None) -> int:
    """Read a hidden number; anything else counts as never seen, which makes the saving ask."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else 0


def _standing(summary: scoring.SheetSummary, *, given: bool) -> str:
    if given:
        return "Only the result of this sheet is kept."
    if summary.missing:
        gaps = len(summary.missing)
        return f"{gaps} {'gap is' if gaps == 1 else 'gaps are'} left."
    return f"{summary.points} points, {summary.percentage} %."
