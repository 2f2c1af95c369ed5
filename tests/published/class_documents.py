"""Builds class documents around published figures, and finds the records that hold them."""

from __future__ import annotations

import json
from pathlib import Path

import scoring

DATA = Path(__file__).parent / "data"


def record(name, record_id):
    """Return one published record; the source stands in it."""
    records = json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))
    return next(found for found in records if found["id"] == record_id)


def rules(*, method="mean", sheet=3, total=3, rounding="half-up", **more):
    return {
        "format": "rules/1",
        "id": "published",
        "sheet_percentage": {"decimals": sheet},
        "total": {"method": method, "decimals": total},
        "rounding": rounding,
        **more,
    }


def class_of(entries, rules, *, maximum=None, teams=None, test=None):
    """Return ``class/1`` of entries given as ``{number: {seat: sheet}}`` or as whole entries in a list."""
    if isinstance(entries, dict):
        entries = [{"number": number, "status": "completed", "sheets": sheets} for number, sheets in entries.items()]
    seats = {seat: None for entry in entries for seat in entry["sheets"]}
    return {
        "format": "class/1",
        "id": "published",
        "test": test,
        "rules": rules,
        "maximum": maximum,
        "panel": [{"seat": seat} for seat in seats],
        "entries": entries,
        "teams": teams,
    }


def compute(document):
    return scoring.compute_results(scoring.read_class(document))


def by_number(results):
    return {row.number: row for row in results.entries}
