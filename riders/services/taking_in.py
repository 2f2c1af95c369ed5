"""Carrying a file of scores or a results bundle out: the one way by which results of other shows reach the ledger.

The pages and the API's imports look first and confirm what was shown; a program, a command and the demonstration take
in at once. Both pass here: every problem refuses all of it, names that are like known ones wait for a person's word,
and rides that the ledger has under another key are left out.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from django.db import transaction

from riders.errors import InvalidInput
from riders.intake import refuse
from riders.models import NameDecision, Score, User
from riders.services.ledger import post_scores, retract_scores
from riders.services.ledger_import import ScoresRead
from riders.services.ledger_preview import FileRead, Preview, WorkedOut, prepare
from riders.services.rebuilds import ask_for_rebuild
from riders.services.standings import running_rebuild, seasons_of_days
from riders.transactions import write_transaction

REBUILT_AT_ONCE = 5_000


def take_in(
    read: FileRead, *, source: str = "", by: User | None, reason: str, rebuild: bool = True, dry_run: bool = False
) -> WorkedOut:
    """Work a file out against the ledger as it stands and carry it out, in one transaction of its own.

    With ``dry_run`` everything is done and then undone, so that the answer, a refusal too, is that of the real thing.
    """
    prepared = prepare(read, source=source, by=by)
    with write_transaction():
        worked_out = prepared.settle()
        carry_out(worked_out, source=source, by=by, reason=reason, rebuild=rebuild and not dry_run)
        if dry_run:
            transaction.set_rollback(True)
    return worked_out


def carry_out(worked_out: WorkedOut, *, source: str, by: User | None, reason: str, rebuild: bool = True) -> None:
    """Write what was worked out, inside the caller's transaction; standings of the touched seasons follow.

    After a file of more than ``REBUILT_AT_ONCE`` scores they follow through the queue, so that nobody waits for them.

    Raises ``InvalidInput`` where there are problems, or names that are like known ones (code ``names-open``). Names
    that are like nobody known become new riders and horses, which is remembered for the source.
    """
    read, preview = worked_out.read, worked_out.preview
    refuse(list(preview.problems), what="the bundle" if preview.kind == "bundle" else "the scores")
    _refuse_open_names(preview)
    if isinstance(read, ScoresRead):
        read.pairs.write()
    _remember_new(worked_out, source, by)
    at_once = rebuild and len(worked_out.rows) + len(worked_out.left) <= REBUILT_AT_ONCE
    dates = {row.date for row in worked_out.rows}
    if worked_out.left:
        dates |= set(Score.objects.filter(key__in=worked_out.left).values_list("date", flat=True))
    retract_scores(worked_out.left, by=by, reason=reason, rebuild=at_once)
    post_scores(worked_out.rows, by=by, reason=reason, rebuild=at_once)
    if rebuild and not at_once:
        _ask_for_rebuilds(dates, by=by, reason=reason)


def _ask_for_rebuilds(dates: Collection[date], *, by: User | None, reason: str) -> None:
    """Leave the standings of the open seasons that are touched to the queue: those before stay until they are done."""
    for season in seasons_of_days(dates):
        running_rebuild(season).update(again=True)
        ask_for_rebuild(season, by=by, reason=reason)


def _refuse_open_names(preview: Preview) -> None:
    if preview.to_decide:
        count = len(preview.to_decide)
        raise InvalidInput(
            f"{count} {'name is' if count == 1 else 'names are'} like known ones. Say of each who is meant, then "
            "confirm.",
            problems=[
                ("names", f"Decide who is meant by the {name.kind} {name.spelling!r}.") for name in preview.to_decide
            ],
            code="names-open",
        )


def _remember_new(worked_out: WorkedOut, source: str, by: User | None) -> None:
    """Let the next file of the source mean the same by a name that is new now."""
    open_names = {(name.kind, name.spelling) for name in worked_out.preview.names}
    NameDecision.objects.bulk_create(
        [
            NameDecision(source=source, kind=kind, spelling=spelling, by=by, **{kind: member})
            for (kind, spelling), member in worked_out.fresh.items()
            if (kind, spelling) in open_names
        ],
        batch_size=2000,
    )
