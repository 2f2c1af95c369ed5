"""What the keying page is made of: its rows, and the figures its script adds up with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

import scoring
from competitions.models import CompetitionClass, Entry, PanelSeat
from competitions.selectors.arithmetic import deductions_for_seat, sheet_arithmetic
from competitions.selectors.consequences import consequences
from riders.models import User
from scoring.exact import format_exact


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One line of the keying page in sheet order; ``heading`` starts a new block above it."""

    item: scoring.Item
    coefficient: str
    mark: str
    remark: str
    substitute: bool
    problem: str
    heading: str


def sheet_rows(
    items: Sequence[scoring.Item], values: Mapping[str, str], problems: Sequence[tuple[str, str]]
) -> list[SheetRow]:
    """Return the lines, movements first and collective marks after them, as the sheet is printed."""
    ordered = [item for item in items if not item.collective] + [item for item in items if item.collective]
    by_field = dict(problems)
    rows = []
    collective = None
    for item in ordered:
        heading = ""
        if item.collective != collective:
            collective = item.collective
            heading = "Collective marks" if collective else "Movements"
        rows.append(
            SheetRow(
                item=item,
                coefficient="" if item.coefficient == 1 else format_exact(item.coefficient),
                mark=values[f"mark-{item.id}"],
                remark=values[f"remark-{item.id}"],
                substitute=bool(values[f"substitute-{item.id}"]),
                problem=by_field.get(f"mark-{item.id}") or by_field.get(f"marks.{item.id}") or "",
                heading=heading,
            )
        )
    return rows


def page_data(cls: CompetitionClass, *, entry: Entry, seat: PanelSeat, user: User) -> dict[str, Any]:
    """Return what the page's script needs to add the sheet up as the server does: whole numbers, decimals as text."""
    address = [cls.competition.slug, cls.number, entry.number, seat.seat]
    return {
        **sheet_arithmetic(cls, seat=seat),
        "deductions": deductions_for_seat(entry, seat=seat),
        "consequences": consequences(cls, most=20),
        "stateUrl": reverse("desk-sheet-state", args=address),
        "draftKey": f"sheet/{user.pk}/{'/'.join(address)}",
    }
