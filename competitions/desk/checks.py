"""What the office looks at before results become official: gaps, outcomes, and what nobody has decided on yet."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from competitions.desk.differences import KIND_WORDS, anchor_of
from competitions.desk.overview import NOT_RIDING, Overview, Ride
from competitions.models import Entry
from competitions.services.differences import undecided_findings


@dataclass(frozen=True, slots=True)
class Check:
    """One thing found. ``stops`` says that results cannot become official before it is mended."""

    stops: bool
    kind: str
    sentence: str
    url: str = ""


def checks_of(overview: Overview) -> list[Check]:
    """Return everything found, what stops first."""
    found: list[Check] = []
    if not overview.rides:
        found.append(Check(True, "no entries", "The class has no entries, so there are no results."))
    for ride in overview.rides:
        found += _outcome_checks(overview, ride)
        found += _deduction_checks(overview, ride)
    found += _finding_checks(overview)
    if overview.problem:
        found.append(Check(True, "cannot be computed", f"The class cannot be computed: {overview.problem}"))
    return sorted(found, key=lambda check: not check.stops)


def _finding_checks(overview: Overview) -> list[Check]:
    """Name each finding that waits for a decision; decisions are made on the table of differences."""
    table = reverse("desk-differences", args=_class(overview))
    return [
        Check(True, KIND_WORDS[finding.kind], finding.sentence, f"{table}#{anchor_of(finding)}")
        for finding in undecided_findings(overview.cls)
    ]


def _name(ride: Ride) -> str:
    return f"Number {ride.entry.number}, {ride.entry.pair.rider.name} with {ride.entry.pair.horse.name}"


def _outcome_checks(overview: Overview, ride: Ride) -> list[Check]:
    entry = ride.entry
    address = _entry_url(overview, ride)
    if entry.status == Entry.Status.ENTERED:
        sentence = f"{_name(ride)}, has no outcome. Key the sheets, or set withdrawn or no-show."
        return [Check(True, "no outcome", sentence, address)]
    if entry.status == Entry.Status.RUNNING:
        waiting = [cell.seat for cell in ride.cells if cell.state in {"missing", "incomplete"}]
        lacks = (
            f"lacks {'the sheet' if len(waiting) == 1 else 'the sheets'} of {', '.join(waiting)}"
            if waiting
            else "is running"
        )
        return [Check(True, "gap", f"{_name(ride)}, {lacks}. Key what is missing, or set the outcome.", address)]
    if entry.status == Entry.Status.ELIMINATED and not (entry.status_reason or entry.errors):
        return [
            Check(
                False, "no reason", f"{_name(ride)}, is eliminated without a reason. The result list names it.", address
            )
        ]
    if entry.status in NOT_RIDING and any(cell.state != "not-needed" for cell in ride.cells):
        sentence = (
            f"{_name(ride)}, is {entry.get_status_display()} and yet has a sheet. Look which of the two is right."
        )
        return [Check(False, "outcome", sentence, address)]
    return []


def _deduction_checks(overview: Overview, ride: Ride) -> list[Check]:
    if ride.entry.errors and ride.entry.status in NOT_RIDING:
        sentence = f"{_name(ride)}, has errors of course and yet did not ride."
        return [Check(False, "outcome", sentence, _entry_url(overview, ride))]
    return []


def _class(overview: Overview) -> list[str]:
    return [overview.cls.competition.slug, overview.cls.number]


def _entry_url(overview: Overview, ride: Ride) -> str:
    return reverse("desk-entry", args=[*_class(overview), ride.entry.number])
