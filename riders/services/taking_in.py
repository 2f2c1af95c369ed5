"""Carrying a file of scores or a results bundle out: the one way by which results of other shows reach the ledger.

The pages and the API's imports look first and confirm what was shown; a program, a command and the demonstration take
in at once. Both pass here: every problem refuses all of it, names that are like known ones wait for a person's word,
and rides that the ledger has under another key are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import date

from riders.errors import InvalidInput
from riders.intake import refuse
from riders.models import NameDecision, Score, User
from riders.services.ledger import Posting, ready_to_post, retract_scores
from riders.services.ledger_clock import ledger_mark
from riders.services.ledger_preview import FileRead, Preview, WorkedOut, work_out
from riders.services.rebuilds import ask_for_rebuild
from riders.services.standings import rebuild_touched, running_rebuild, seasons_of_days
from riders.transactions import take_ledger_turn, write_transaction

REBUILT_AT_ONCE = 500
_WORKED_OUT_BEFORE = 3
"""So often a file is worked out before the lock while the ledger moves under it; then once inside it."""


def take_in(
    read: FileRead,
    *,
    source: str = "",
    by: User | None,
    reason: str,
    rebuild: bool = True,
    dry_run: bool = False,
    first: Callable[[WorkedOut], None] = lambda _worked_out: None,
) -> WorkedOut:
    """Work a file out against the ledger as it stands and carry it out, in one transaction of its own.

    Everything is worked out, compared and made ready before the lock; inside it what was made ready is written, if the
    ledger is still the one it was worked out against. ``first`` is what the caller has to do in the same transaction.
    With ``dry_run`` nothing is written; the answer, a refusal too, is that of the real thing.

    Raises ``InvalidInput`` where there are problems, or names that are like known ones (code ``names-open``). Names
    that are like nobody known become new riders and horses, which is remembered for the source. Standings of the
    touched seasons follow, those of a file of more than ``REBUILT_AT_ONCE`` scores through the queue.
    """
    for _ in range(_WORKED_OUT_BEFORE):
        mark = ledger_mark()
        worked_out = work_out(read, source=source, by=by)
        if dry_run:
            _refuse(worked_out.preview)
            return worked_out
        with ready_to_post(worked_out.rows, worked_out.known) as posting, write_transaction():
            take_ledger_turn()
            if ledger_mark() == mark:
                first(worked_out)
                _carry_out(worked_out, posting, source=source, by=by, reason=reason, rebuild=rebuild)
                return worked_out
    with write_transaction():
        take_ledger_turn()
        worked_out = work_out(read, source=source, by=by)
        first(worked_out)
        with ready_to_post(worked_out.rows, worked_out.known) as posting:
            _carry_out(worked_out, posting, source=source, by=by, reason=reason, rebuild=rebuild)
    return worked_out


def _carry_out(
    worked_out: WorkedOut, posting: Posting, *, source: str, by: User | None, reason: str, rebuild: bool
) -> None:
    """Write what was worked out and made ready, inside the caller's transaction."""
    _refuse(worked_out.preview)
    assert worked_out.read is not None  # noqa: S101 - what could not be read has been refused
    worked_out.read.pairs.fresh.write()
    _remember_new(worked_out, source, by)
    at_once = rebuild and len(worked_out.rows) + len(worked_out.left) <= REBUILT_AT_ONCE
    dates = posting.dates
    if worked_out.left:
        dates |= set(Score.objects.filter(key__in=worked_out.left).values_list("date", flat=True))
        retract_scores(worked_out.left, by=by, reason=reason, rebuild=at_once)
    posting.write(by=by, reason=reason)
    if at_once and worked_out.rows:
        rebuild_touched(posting.dates, posting.pairs)
    elif rebuild and not at_once:
        _ask_for_rebuilds(dates, by=by, reason=reason)


def _refuse(preview: Preview) -> None:
    refuse(list(preview.problems), what="the bundle" if preview.kind == "bundle" else "the scores")
    _refuse_open_names(preview)


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
    assert worked_out.read is not None  # noqa: S101 - as above
    fresh = worked_out.read.pairs.fresh
    NameDecision.objects.bulk_create(
        [
            NameDecision(source=source, kind=kind, spelling=spelling, by=by, **{kind: fresh.spelt[kind, spelling]})
            for kind, spelling in fresh.undecided()
        ],
        batch_size=2000,
    )
