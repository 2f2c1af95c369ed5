"""What a page's script needs to add a sheet up as the server does: whole numbers, and decimals as text."""

from __future__ import annotations

from typing import Any

from competitions.models import CompetitionClass, Entry, PanelSeat
from competitions.selectors.documents import items_of_seat, rules_of, test_of
from scoring.exact import format_exact


def sheet_arithmetic(cls: CompetitionClass, *, seat: PanelSeat) -> dict[str, Any]:
    """Return unit, items with their weights and scales, and the steps of the rule set, for one seat."""
    test, rules = test_of(cls), rules_of(cls)
    return {
        "unit": test.unit,
        "items": [
            {
                "id": item.id,
                "label": item.label,
                "weight": test.weights[test.positions[item.id]],
                "coefficient": format_exact(item.coefficient),
                "part": item.part,
                "scale": {"minimum": item.scale.minimum, "maximum": item.scale.maximum, "step": item.scale.step},
            }
            for item in items_of_seat(test, seat)
        ],
        "rules": {
            "decimals": rules.sheet_decimals,
            "totalDecimals": rules.decimals,
            "rounding": str(rules.rounding),
            "parts": {part: format_exact(weight) for part, weight in rules.parts.items()},
            "errorsOff": rules.errors.off if rules.errors else "",
            "errorSteps": [format_exact(step) for step in rules.errors.steps] if rules.errors else [],
        },
    }


def deductions_for_seat(entry: Entry, *, seat: PanelSeat) -> list[dict[str, str]]:
    """Return the deductions that come off this seat's sheet."""
    return [
        {"off": d.get("off", ""), "amount": str(d.get("amount", "0")), "part": d.get("part") or "technical"}
        for d in entry.deductions
        if d.get("off") != "total-percentage" and d.get("seat") in {None, "", seat.seat}
    ]
