"""Tests, rule sets and classes as open documents: as the scoring core reads them, and a class as ``class/1``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Any

import scoring
from competitions.models import CompetitionClass, Entry, PanelSeat, Sheet
from scoring.exact import format_exact
from scoring.marks import mark_text

_TENTHS = {tenths: mark_text(tenths) for tenths in range(1001)}


def test_of(competition_class: CompetitionClass) -> scoring.Test:
    """Return the test of a class as the scoring core reads it, without its figures being read anew each time."""
    return _read_test(json.dumps(competition_class.test.document, sort_keys=True))


def rules_of(competition_class: CompetitionClass) -> scoring.RuleSet:
    """Return the rule set of a class as the scoring core reads it."""
    return _read_rules(json.dumps(competition_class.rule_set.document, sort_keys=True))


def items_of_seat(test: scoring.Test, seat: PanelSeat) -> tuple[scoring.Item, ...]:
    """Return the items that a seat marks: all, or those of its parts."""
    return tuple(item for item in test.items if not seat.parts or item.part in seat.parts)


def class_document(competition_class: CompetitionClass, *, moments: bool = False) -> dict[str, Any]:
    """Return a class with all that is needed to compute it, as ``class/1``; who has not started is left out.

    With ``moments`` a sheet seen in a recording says when each item was marked and what the camera hid: for who takes
    the class elsewhere. Results never depend on them, so what is published leaves them out.
    Columns are read, not objects: this runs at every saved mark.
    """
    seats = list(competition_class.seats.all())
    entries = list(
        competition_class.entries.exclude(status=Entry.Status.ENTERED).values_list(
            "pk", "number", "status", "hors_concours", "team", "errors", "deductions"
        )
    )
    sheets = _sheet_documents(competition_class, {seat.pk: seat.seat for seat in seats})
    if moments:
        _add_moments(competition_class, sheets)
    points_given = any("points" in sheet for of_entry in sheets.values() for sheet in of_entry.values())
    return {
        "format": "class/1",
        "id": f"{competition_class.competition.slug}/{competition_class.number}",
        "title": competition_class.title,
        "test": competition_class.test.document,
        "rules": competition_class.rule_set.document,
        "maximum": format_exact(test_of(competition_class).maximum) if points_given else None,
        "panel": [_panel_member(seat) for seat in seats],
        "entries": [
            {
                "number": number,
                "status": status,
                "hors_concours": hors_concours,
                "team": team or None,
                "errors": errors,
                "deductions": deductions,
                "sheets": sheets.get(pk, {}),
            }
            for pk, number, status, hors_concours, team, errors, deductions in entries
        ],
        **({"teams": competition_class.team_rules} if competition_class.team_rules else {}),
    }


def _sheet_documents(
    competition_class: CompetitionClass, letters: Mapping[int, str]
) -> dict[int, dict[str, dict[str, Any]]]:
    """Return the sheets of a class that hold a mark or a given result, by entry and seat."""
    documents: dict[int, dict[str, dict[str, Any]]] = {}
    rows = Sheet.objects.filter(entry__competition_class=competition_class).order_by("entry_id", "seat__order")
    for entry_id, seat_id, marks, given_result in rows.values_list("entry_id", "seat_id", "marks", "given_result"):
        if marks or given_result is not None:
            documents.setdefault(entry_id, {})[letters[seat_id]] = sheet_document(marks, given_result)
    return documents


def _add_moments(competition_class: CompetitionClass, documents: dict[int, dict[str, dict[str, Any]]]) -> None:
    rows = Sheet.objects.filter(entry__competition_class=competition_class)
    for entry_id, letter, times, limited in rows.values_list("entry_id", "seat__seat", "times", "limited"):
        document = documents.get(entry_id, {}).get(letter)
        if document is not None and "marks" in document:
            if times:
                document["x-times"] = {item: format_exact(Fraction(time, 1000)) for item, time in times.items()}
            if limited:
                document["x-limited"] = limited


def _panel_member(seat: PanelSeat) -> dict[str, Any]:
    return {"seat": seat.seat, "parts": list(seat.parts)} if seat.parts else {"seat": seat.seat}


def sheet_document(marks: Mapping[str, int], given_result: Mapping[str, str] | None) -> dict[str, Any]:
    """Return a sheet as it stands inside ``class/1``."""
    if given_result is not None:
        return dict(given_result)
    return {"marks": {item: _TENTHS.get(tenths) or mark_text(tenths) for item, tenths in marks.items()}}


@lru_cache(maxsize=64)
def _read_test(text: str) -> scoring.Test:
    return scoring.read_test(scoring.load_json(text))


@lru_cache(maxsize=64)
def _read_rules(text: str) -> scoring.RuleSet:
    return scoring.read_rules(scoring.load_json(text))
