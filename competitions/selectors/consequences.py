"""What errors of course and deductions do to a result, said in a sentence."""

from __future__ import annotations

from typing import Any

from competitions.models import CompetitionClass, Entry
from competitions.selectors.documents import rules_of
from scoring.exact import format_exact

_OFF = {
    "sheet-points": "points off",
    "part-percentage": "percentage points off the part",
    "total-percentage": "percentage points off the total",
}


def consequence_of_errors(cls: CompetitionClass, errors: int) -> str:
    """Say what so many errors of course cost under the rule set of the class."""
    rules = rules_of(cls).errors
    if errors == 0:
        return "No error of course: nothing comes off."
    counted = "1 error of course" if errors == 1 else f"{errors} errors of course"
    if rules is None:
        return f"{counted}: this rule set takes nothing off for errors of course."
    if rules.eliminate(errors):
        return f"{counted}: this eliminates the ride (the {_ordinal(rules.eliminated_at or errors)} error eliminates)."
    cost = format_exact(rules.cost(errors))
    off = f"{cost} points off every sheet" if rules.off == "sheet-points" else f"{cost} percentage points off the total"
    warning = " The next error eliminates." if rules.eliminate(errors + 1) else ""
    return f"{counted}: {off}.{warning}"


def consequences(cls: CompetitionClass, *, most: int = 10) -> list[str]:
    """Return the sentence for 0, 1, 2 ... errors of course."""
    return [consequence_of_errors(cls, errors) for errors in range(most + 1)]


def deduction_sentence(deduction: dict[str, Any]) -> str:
    """Say one deduction in words, as in ``2 points off sheet C: whip``."""
    off = f"{deduction.get('amount', '')} {_OFF.get(deduction.get('off', ''), 'off')}"
    if deduction.get("off") == "sheet-points":
        off += f" sheet {deduction['seat']}" if deduction.get("seat") else " every sheet"
    if deduction.get("part"):
        off += f" {deduction['part']}"
    return f"{off}: {deduction.get('reason') or 'no reason given'}"


def what_was_ridden(cls: CompetitionClass, entry: Entry) -> str:
    """Sum up what happened in a ride beside its marks; empty when nothing did."""
    said = []
    if entry.errors:
        said.append(consequence_of_errors(cls, entry.errors))
    said += [f"{deduction_sentence(deduction)}." for deduction in entry.deductions]
    return " ".join(said)


def _ordinal(number: int) -> str:
    return {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth"}.get(number, f"{number}th")
