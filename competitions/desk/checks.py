"""What the office looks at before results become official: gaps, signatures, totals, outcomes."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from competitions.desk.overview import NOT_RIDING, Overview, Ride
from competitions.models import Entry
from competitions.services.differences import Finding, undecided_findings


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
        if ride.entry.status == Entry.Status.COMPLETED:
            found += _sheet_checks(overview, ride)
        found += _deduction_checks(overview, ride)
    found += _finding_checks(overview)
    if overview.problem:
        found.append(Check(True, "cannot be computed", f"The class cannot be computed: {overview.problem}"))
    return sorted(found, key=lambda check: not check.stops)


def _finding_checks(overview: Overview) -> list[Check]:
    """Show the table of differences; totals and signatures have their checks here already."""
    return [
        Check(False, finding.kind, finding.sentence, _finding_url(overview, finding))
        for finding in undecided_findings(overview.cls)
        if finding.kind not in {"total", "unsigned"}
    ]


def _finding_url(overview: Overview, finding: Finding) -> str:
    arguments = [*_class(overview), finding.number]
    return (
        reverse("desk-sheet", args=[*arguments, finding.seat])
        if finding.seat
        else reverse("desk-entry", args=arguments)
    )


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


def _sheet_checks(overview: Overview, ride: Ride) -> list[Check]:
    found = []
    for cell in ride.cells:
        if cell.paper.sentence:
            address = reverse("desk-sheet", args=[*_class(overview), ride.entry.number, cell.seat])
            found.append(
                Check(False, "total differs", f"{_name(ride)}, sheet {cell.seat}: {cell.paper.sentence}", address)
            )
    asked_for = overview.cls.competition.sheets_signed
    unsigned = [cell.seat for cell in ride.cells if asked_for and not cell.signed]
    if unsigned:
        sheets = f"sheet {unsigned[0]} is" if len(unsigned) == 1 else f"sheets {', '.join(unsigned)} are"
        address = reverse("desk-sheet", args=[*_class(overview), ride.entry.number, unsigned[0]])
        found.append(Check(False, "unsigned", f"{_name(ride)}: {sheets} not signed.", address))
    return found


def _deduction_checks(overview: Overview, ride: Ride) -> list[Check]:
    if ride.entry.errors and ride.entry.status in NOT_RIDING:
        sentence = f"{_name(ride)}, has errors of course and yet did not ride."
        return [Check(False, "outcome", sentence, _entry_url(overview, ride))]
    return []


def _class(overview: Overview) -> list[str]:
    return [overview.cls.competition.slug, overview.cls.number]


def _entry_url(overview: Overview, ride: Ride) -> str:
    return reverse("desk-entry", args=[*_class(overview), ride.entry.number])
