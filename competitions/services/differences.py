"""The table of differences: what the office looks at before results become official, and why it may stand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from hashlib import sha256

from competitions.models import CheckDecision, CompetitionClass
from competitions.services.clock import lock_open_class
from competitions.services.findings import KINDS, Decision, Finding, find_in_class, typed_total_fault
from riders.errors import Conflict, InvalidInput
from riders.models import User
from riders.transactions import write_transaction

__all__ = [
    "KINDS",
    "Decision",
    "Finding",
    "decide_all_findings",
    "decide_finding",
    "findings_of",
    "findings_tag",
    "lapsed_decisions",
    "needed_reason",
    "refuse_undecided",
    "typed_total_fault",
    "undecided_findings",
    "write_decisions",
]


def findings_of(competition_class: CompetitionClass) -> tuple[Finding, ...]:
    """Return every finding of a class, by entry number, each with the decision on it if there is one."""
    decisions = {row.key: row for row in competition_class.check_decisions.select_related("by").order_by("pk")}
    found = find_in_class(competition_class)
    return tuple(_with_decision(finding, decisions.get(finding.key)) for finding in found)


def undecided_findings(competition_class: CompetitionClass) -> tuple[Finding, ...]:
    """Return the findings that nobody has decided on as they stand now."""
    return tuple(finding for finding in findings_of(competition_class) if not finding.decided)


def findings_tag(findings: Iterable[Finding]) -> str:
    """Return a short text that changes as soon as one of these findings comes, goes or says something else."""
    said = "\n".join(f"{finding.key}\t{finding.figures}" for finding in findings)
    return sha256(said.encode()).hexdigest()[:20]


def lapsed_decisions(competition_class: CompetitionClass, findings: Iterable[Finding]) -> list[CheckDecision]:
    """Return the decisions that hold no longer against the findings of now, the newest first.

    The finding is gone, says something else by now, or has been decided on again.
    """
    rows = list(competition_class.check_decisions.select_related("by").order_by("-pk"))
    now = {finding.key: finding.figures for finding in findings}
    newest = {row.key: row.pk for row in reversed(rows)}
    return [row for row in rows if newest[row.key] != row.pk or now.get(row.key) != row.figures]


def decide_finding(
    competition_class: CompetitionClass,
    key: str,
    *,
    reason: str,
    by: User | None,
    figures: str | None = None,
    again: bool = True,
) -> Finding:
    """Let one finding stand, with the reason; the decision holds as long as the finding says the same.

    ``figures`` are those that were looked at: where the finding says something else by now, ``Conflict``. Without
    ``again`` one that somebody has decided on meanwhile is a ``Conflict`` too, and their decision stays.
    """
    reason = needed_reason(reason)
    with write_transaction():
        current = lock_open_class(competition_class.pk)
        finding = next((found for found in findings_of(current) if found.key == key), None)
        if finding is None:
            message = f"There is no such finding in class {current.number} any more. Look at the table again."
            raise InvalidInput(message, problems=[("key", message)], code="no-such-finding")
        if figures is not None and figures != finding.figures:
            raise Conflict("The finding has changed since you looked at it. Look at it again.", current=finding)
        if finding.decision is not None and not again:
            said = f"{finding.decision.by} has decided on this meanwhile: {finding.decision.reason}"
            raise Conflict(said, current=finding)
        write_decisions(current, [finding], reason=reason, by=by)
        return next(found for found in findings_of(current) if found.key == key)


def decide_all_findings(
    competition_class: CompetitionClass, *, reason: str, by: User | None, seen: str | None = None
) -> int:
    """Let every finding stand that nobody has decided on, with one reason; return how many there were.

    ``seen`` is the ``findings_tag`` of the undecided findings that were looked at: where they are others by now,
    ``Conflict``.
    """
    reason = needed_reason(reason)
    with write_transaction():
        current = lock_open_class(competition_class.pk)
        open_findings = undecided_findings(current)
        if seen is not None and seen != findings_tag(open_findings):
            raise Conflict("The findings have changed since you looked at them. Look at them again.")
        write_decisions(current, open_findings, reason=reason, by=by)
        return len(open_findings)


def write_decisions(
    competition_class: CompetitionClass, findings: Iterable[Finding], *, reason: str, by: User | None
) -> None:
    """Write a decision for each finding, inside the caller's transaction."""
    CheckDecision.objects.bulk_create(
        CheckDecision(
            competition_class=competition_class, key=finding.key, figures=finding.figures, reason=reason, by=by
        )
        for finding in findings
    )


def refuse_undecided(competition_class: CompetitionClass) -> None:
    """Raise ``InvalidInput`` with every finding that nobody has decided on."""
    found = undecided_findings(competition_class)
    if not found:
        return
    many = f"{len(found)} findings have" if len(found) > 1 else "1 finding has"
    raise InvalidInput(
        f"Class {competition_class.number} cannot become official yet: {many} not been looked at. Correct what is "
        "wrong, or say why it may stand.",
        problems=[(finding.key, finding.sentence) for finding in found],
        code="findings-undecided",
    )


def needed_reason(reason: str) -> str:
    """Return the reason trimmed; raise ``InvalidInput`` where there is none or it is too long."""
    reason = reason.strip()
    message = "Say why the finding may stand." if not reason else "The reason is too long. Use at most 300 characters."
    if not 0 < len(reason) <= 300:
        raise InvalidInput(message, problems=[("reason", message)])
    return reason


def _with_decision(finding: Finding, row: CheckDecision | None) -> Finding:
    if row is None:
        return finding
    if row.figures != finding.figures:
        return replace(finding, changed=True)
    by = str(row.by) if row.by else "no account"
    return replace(finding, decision=Decision(row.reason, by, row.at))
