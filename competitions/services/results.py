"""From marks to posted results: recompute a class, make it official, correct it with a reason, withdraw it."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

import scoring
from competitions.models import ClassResults, CompetitionClass, Entry, PublishedResults, ResultRow
from competitions.selectors.documents import class_document
from competitions.services.clock import lock_class, raise_version
from competitions.services.differences import (
    needed_reason,
    refuse_undecided,
    undecided_findings,
    write_decisions,
)
from competitions.services.history import note_class
from competitions.services.posting import post_class, retract_class
from riders.errors import InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction


def recompute_class(competition_class: CompetitionClass) -> int:
    """Work the results out anew from the marks, inside the caller's transaction; return the new version.

    A class that cannot be computed keeps the rows it had and says why in ``ClassResults.problem``.
    """
    version = raise_version(competition_class)
    document, problem = _computed(class_document(competition_class))
    if document is not None:
        _store_rows(competition_class, document["entries"])
    values: dict[str, Any] = {"version": version, "problem": problem}
    if document is not None:
        values["document"] = document
    ClassResults.objects.update_or_create(
        competition_class=competition_class, defaults=values, create_defaults={"document": {}, **values}
    )
    return version


def make_official(
    competition_class: CompetitionClass, *, by: User | None, reason: str = "", findings_reason: str = ""
) -> PublishedResults:
    """Freeze the results as the next official revision and post its scores to the ledger.

    Refused while an entry has no outcome, and while a finding of the table of differences has not been decided on
    (code ``findings-undecided``, each with its key). ``findings_reason`` decides on all that are open in the same
    transaction: for shows that are over and come in as files, and for an office that has looked at the whole table.
    With a correction under way its reason stands in the revision.
    """
    with write_transaction():
        locked = lock_class(competition_class.pk)
        if not locked.open_for_changes:
            raise NotAllowed(f"The results of class {locked.number} are official already.", code="results-official")
        _refuse_unfinished(locked)
        recompute_class(locked)
        results = ClassResults.objects.get(competition_class=locked)
        if results.problem:
            raise InvalidInput(f"The class cannot be computed: {results.problem}", code="not-computable")
        if findings_reason:
            why = needed_reason(findings_reason)
            write_decisions(locked, undecided_findings(locked), reason=why, by=by)
        refuse_undecided(locked)
        locked.revision += 1
        published = PublishedResults.objects.create(
            competition_class=locked,
            revision=locked.revision,
            version=locked.version,
            class_document=class_document(locked),
            document=results.document,
            published_by=by,
            reason=(locked.correction_reason or reason)[:300],
        )
        locked.results_state = CompetitionClass.ResultsState.OFFICIAL
        locked.correction_reason = ""
        locked.in_ring = None
        locked.save(update_fields=["results_state", "correction_reason", "revision", "in_ring", "changed_at"])
        note_class(locked, "made official", by=by, reason=published.reason, after={"revision": published.revision})
        post_class(locked, published, by=by)
    _refresh(competition_class)
    return published


def start_correction(competition_class: CompetitionClass, *, by: User | None, reason: str) -> None:
    """Open official results for a correction; the official revision stays posted until the next one replaces it."""
    reason = _needed(reason, "A correction of official results needs a reason. Say what was wrong and who decided.")
    with write_transaction():
        locked = lock_class(competition_class.pk)
        if locked.results_state != CompetitionClass.ResultsState.OFFICIAL:
            raise NotAllowed(
                f"The results of class {locked.number} are {locked.results_state}; change them without a correction.",
                code="not-official",
            )
        locked.correction_reason = reason
        locked.save(update_fields=["correction_reason", "changed_at"])
        note_class(locked, "correction started", by=by, reason=reason)
        raise_version(locked)
    _refresh(competition_class)


def cancel_correction(competition_class: CompetitionClass, *, by: User | None) -> None:
    """Close a correction that changed nothing; refused when the results differ from the official ones by now."""
    with write_transaction():
        locked = lock_class(competition_class.pk)
        if not locked.correction_reason:
            raise NotAllowed("No correction is under way.", code="no-correction")
        official = locked.published.first()
        if official is None or class_document(locked) != official.class_document:
            raise NotAllowed(
                "Marks or outcomes have been changed since the correction was started. Make the corrected results "
                "official, or change them back first.",
                code="correction-has-changes",
            )
        locked.correction_reason = ""
        locked.save(update_fields=["correction_reason", "changed_at"])
        note_class(locked, "correction cancelled", by=by)
        raise_version(locked)
    _refresh(competition_class)


def withdraw_results(competition_class: CompetitionClass, *, by: User | None, reason: str) -> None:
    """Take official results back: their scores leave the ledger, the revision stays readable with the reason."""
    reason = _needed(reason, "Withdrawing official results needs a reason. Say why they do not stand.")
    with write_transaction():
        locked = lock_class(competition_class.pk)
        if locked.results_state != CompetitionClass.ResultsState.OFFICIAL:
            raise NotAllowed(
                f"The results of class {locked.number} are {locked.results_state}; only official ones are withdrawn.",
                code="not-official",
            )
        locked.published.filter(revision=locked.revision).update(withdrawn_at=timezone.now(), withdrawn_reason=reason)
        locked.results_state = CompetitionClass.ResultsState.WITHDRAWN
        locked.correction_reason = ""
        locked.save(update_fields=["results_state", "correction_reason", "changed_at"])
        note_class(locked, "withdrawn", by=by, reason=reason, before={"revision": locked.revision})
        recompute_class(locked)
        retract_class(locked, by=by, reason=reason)
    _refresh(competition_class)


def unfinished_entries(competition_class: CompetitionClass) -> list[tuple[str, str]]:
    """Return what stands between this class and official results, as (entry, sentence)."""
    open_entries = competition_class.entries.filter(
        status__in=[Entry.Status.ENTERED, Entry.Status.RUNNING]
    ).select_related("pair__rider", "pair__horse")
    return [
        (
            f"entry {entry.number}",
            f"{entry.pair.rider.name} with {entry.pair.horse.name} "
            + (
                "has not ridden. Key the sheets, or set withdrawn or no-show."
                if entry.status == Entry.Status.ENTERED
                else "has no full set of sheets. Key what is missing, or set the outcome."
            ),
        )
        for entry in open_entries
    ]


def _computed(document: dict[str, Any]) -> tuple[dict[str, Any] | None, str]:
    """Compute with hors concours entries listed whatever the rule set publishes: office and ledger need them."""
    document["rules"] = document["rules"] | {"hors_concours": "listed"}
    try:
        results = scoring.compute_results(scoring.read_class(document))
    except scoring.InvalidDocument as error:
        return None, " ".join(dict.fromkeys(problem.message for problem in error.problems))
    return results.as_document(), ""


def _store_rows(competition_class: CompetitionClass, documents: list[dict[str, Any]]) -> None:
    """Write the rows that changed; a saved sheet mostly changes few of them."""
    by_number = dict(competition_class.entries.order_by().values_list("number", "pk"))
    stored = {
        entry_id: (position, document)
        for entry_id, position, document in ResultRow.objects.filter(entry__competition_class=competition_class)
        .order_by()
        .values_list("entry_id", "position", "document")
    }
    rows = [
        ResultRow(
            entry_id=by_number[document["number"]],
            position=position,
            placing=document["placing"],
            shared=document["shared"],
            total=document["total"] or "",
            document=document,
        )
        for position, document in enumerate(documents)
    ]
    gone = set(stored) - {row.entry_id for row in rows}
    if gone:
        ResultRow.objects.filter(entry__in=gone).delete()
    changed = [row for row in rows if stored.get(row.entry_id) != (row.position, row.document)]
    if changed:
        ResultRow.objects.bulk_create(
            changed,
            update_conflicts=True,
            unique_fields=["entry"],
            update_fields=["position", "placing", "shared", "total", "document"],
        )


def _refuse_unfinished(competition_class: CompetitionClass) -> None:
    problems = unfinished_entries(competition_class)
    if not competition_class.entries.exists():
        problems = [("class", "The class has no entries, so there are no results.")]
    if problems:
        raise InvalidInput(
            f"Class {competition_class.number} cannot become official yet: {len(problems)} "
            f"{'entry has' if len(problems) == 1 else 'entries have'} no outcome.",
            problems=problems,
            code="entries-unfinished",
        )


def _needed(reason: str, message: str) -> str:
    reason = reason.strip()
    if not reason:
        raise InvalidInput(message, problems=[("reason", message)])
    if len(reason) > 300:
        sentence = f"The reason has {len(reason)} characters. Use at most 300."
        raise InvalidInput(sentence, problems=[("reason", sentence)])
    return reason


def _refresh(competition_class: CompetitionClass) -> None:
    competition_class.refresh_from_db(
        fields=["version", "revision", "results_state", "correction_reason", "in_ring", "changed_at"]
    )


def public_results(document: dict[str, Any], competition_class: CompetitionClass) -> dict[str, Any]:
    """Return ``results/1`` as the rule set publishes it: without hors concours entries where it hides them."""
    if competition_class.rule_set.document.get("hors_concours") != "hidden":
        return document
    shown = [entry for entry in document.get("entries", []) if not entry["hors_concours"]]
    return document | {"entries": shown}
