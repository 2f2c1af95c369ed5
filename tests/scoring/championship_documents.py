"""Small championships for tests: results of classes from plain figures."""

from __future__ import annotations

from typing import Any

_NULL = ("placing", "shared", "total", "points", "penalty", "so_far", "collectives", "sheets", "parts", "tie", "reason")


def results(class_id: str, rows: dict[str, Any], *, teams: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """Return ``results/1``: a figure is a total; text that is no number is a status; an object is the row itself."""
    return {
        "format": "results/1",
        "class": class_id,
        "rules": "house-rules",
        "entries": [entry(number, given) for number, given in rows.items()],
        "teams": teams or [],
    }


def entry(number: str, given: Any) -> dict[str, Any]:
    row = {"number": number, "status": "completed", **dict.fromkeys(_NULL), "hors_concours": False, "working": []}
    if isinstance(given, dict):
        return row | given
    return row | ({"total": given} if given[0].isdigit() else {"status": given})


def championship(*classes: dict[str, Any], units: dict[str, str] | None = None, **changes: Any) -> dict[str, Any]:
    """Return ``championship/1``; without ``units`` every entry stands for the unit of its own number."""
    return {
        "format": "championship/1",
        "id": "linden-championship",
        "method": "mean",
        "decimals": 3,
        "classes": [
            {
                "title": f"Class {index}",
                "results": found,
                "units": units or {row["number"]: row["number"] for row in found["entries"]},
            }
            for index, found in enumerate(classes, start=1)
        ],
    } | changes


def places(document: dict[str, Any]) -> list[tuple[str, int | None, str | None]]:
    return [(row.get("unit") or row["team"], row["placing"], row["value"]) for row in document]
