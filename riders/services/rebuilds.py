"""Standings rebuilt as a whole through the queue, while the old ones are shown until the new ones are complete.

The new tables are written beside those that are shown, some rows at a time. What changes meanwhile is noted in the
rebuild's row by whoever changes it, and its units are worked out once more in the transaction that shows the new
tables: nothing is missed, and nobody waits.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from functools import partial
from itertools import groupby
from uuid import UUID

from billiard.exceptions import SoftTimeLimitExceeded
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from riders.errors import Conflict, DomainError, NotAllowed
from riders.models import Scheme, Season, StandingRow, StandingsRebuild, StandingTable, User
from riders.selectors.details import standing_day
from riders.services.closed import locked_season, open_seasons
from riders.services.scheme_seasons import give_scheme
from riders.services.standing_rows import Worked, write_rows
from riders.services.standings import compute_rows, show_tables, store_standings, store_touched, store_units_of
from riders.services.workqueue import (
    QUEUED_TOO_LONG,
    Heartbeat,
    Swept,
    claim,
    fail,
    hand_over,
    held,
    note_progress,
    sweep,
)
from riders.transactions import write_transaction
from scoring import season as season_rules

log = logging.getLogger("markbook.riders")

RUN_TASK = "riders.standings_rebuild"
SWEEP_TASK = "riders.rebuilds_sweep"
_WRITTEN_AT_ONCE = 2_000
_REST_AFTER_FAULT = timedelta(hours=3)
_ACTIVE = (StandingsRebuild.State.QUEUED, StandingsRebuild.State.RUNNING)


def request_rebuild(
    season: Season, *, by: User | None, scheme: Scheme | None = None, reason: str = ""
) -> StandingsRebuild:
    """Ask for the standings of a season to be worked out anew; who asks while that is being done joins it.

    With ``scheme`` the season counts by that one as soon as its standings by it are complete. Raises ``NotAllowed`` for
    a closed season, ``Conflict`` where a rebuild by another scheme is under way.
    """
    with write_transaction():
        return ask_for_rebuild(season, by=by, scheme=scheme, reason=reason)


def ask_for_rebuild(
    season: Season, *, by: User | None, scheme: Scheme | None = None, reason: str = ""
) -> StandingsRebuild:
    """Do as :func:`request_rebuild` does, inside the caller's transaction."""
    current = locked_season(season)
    if current.closed_at is not None:
        raise NotAllowed(
            f"{current.title} is closed, so its standings stay as they are. Reopen it with a reason first.",
            code="season-closed",
        )
    active = StandingsRebuild.objects.filter(season=current, state__in=_ACTIVE).first()
    if active is not None:
        if scheme is not None and active.scheme_id != scheme.pk:
            raise Conflict(
                f"The standings of {current.title} are being worked out anew just now. Wait until that is done, then "
                "choose the scheme again.",
                current=active,
            )
        return active
    rebuild = StandingsRebuild.objects.create(season=current, scheme=scheme, reason=reason, requested_by=by)
    transaction.on_commit(partial(enqueue, rebuild.pk))
    return rebuild


def enqueue(rebuild_id: UUID) -> bool:
    return hand_over(StandingsRebuild, rebuild_id, task=RUN_TASK)


def run_rebuild(rebuild_id: UUID | str) -> StandingsRebuild | None:
    """Do a queued rebuild and return its row; None where it is gone, done, or another worker has it."""
    rebuild = claim(StandingsRebuild, rebuild_id)
    if rebuild is None:
        return None
    try:
        with Heartbeat(rebuild):
            _rebuild(rebuild)
    except SoftTimeLimitExceeded:
        fail(rebuild, "Working the standings out took longer than it may, so it was stopped. Those before are shown.")
    except DomainError as refusal:
        fail(rebuild, refusal.message)
    except Exception:
        log.exception("The rebuild %s failed.", rebuild.pk)
        fail(
            rebuild,
            "The standings could not be worked out because of a fault in the program. Those before are shown. Try "
            f"again; if it fails again, tell whoever runs this service and name the rebuild {rebuild.pk}.",
        )
    return StandingsRebuild.objects.filter(pk=rebuild.pk).first()


def _rebuild(rebuild: StandingsRebuild) -> None:
    """Work the rows out, write them beside those that are shown, and show them."""
    season = _begin(rebuild)
    _clear(season)
    scheme = season_rules.read_scheme((rebuild.scheme or season.scheme).document)
    day = standing_day(season, scheme)
    rows = compute_rows(season, scheme, as_of=day, progress=lambda share: note_progress(rebuild, 5 + int(45 * share)))
    note_progress(rebuild, 60)
    _show(rebuild, _write(rebuild, season, rows), as_of=day)
    _clear(season)


def _begin(rebuild: StandingsRebuild) -> Season:
    """Wait for whoever changes the season now, and have everyone after that note what they change."""
    with write_transaction():
        season = locked_season(rebuild.season)
        held(rebuild).update(touched=[], again=False)
    if season.closed_at is not None:
        raise DomainError(f"{season.title} has been closed, so its standings stay as they are.")
    return season


def _write(rebuild: StandingsRebuild, season: Season, rows: Sequence[Worked]) -> list[int]:
    """Write new tables that are not shown yet, some rows a transaction, so that nobody waits long for the database."""
    written, done = [], 0
    for number, (group, members) in enumerate(groupby(rows, key=lambda row: row.group)):
        kept = list(members)
        table = StandingTable.objects.create(
            season=season, number=number, group=season_rules.group_as_dict(group), size=len(kept)
        )
        written.append(table.pk)
        for part in _parts(kept):
            with write_transaction():
                write_rows((table.pk, row) for row in part)
                done += len(part)
                note_progress(rebuild, 60 + 35 * done // len(rows))
    return written


def _parts(rows: Sequence[Worked]) -> Iterator[Sequence[Worked]]:
    for start in range(0, len(rows), _WRITTEN_AT_ONCE):
        yield rows[start : start + _WRITTEN_AT_ONCE]


def _show(rebuild: StandingsRebuild, tables: Sequence[int], *, as_of: date | None) -> None:
    """Show the new tables, with what was touched meanwhile worked out again.

    Where somebody has had everything worked out meanwhile, what is shown is the newer, and stays; by another scheme it
    is worked out once more, here and now.
    """
    with write_transaction():
        season = locked_season(rebuild.season)
        mine = held(rebuild).select_for_update().first()
        if mine is None or season.closed_at is not None:
            raise DomainError("The season was closed, or another worker took this over, before it was complete.")
        held(rebuild).update(state=StandingsRebuild.State.DONE, progress=100, finished_at=timezone.now())
        switched = rebuild.scheme is not None and rebuild.scheme_id != season.scheme_id
        if rebuild.scheme is not None and switched:
            give_scheme(season, rebuild.scheme, by=rebuild.requested_by, reason=rebuild.reason)
        if not mine.again:
            show_tables(season, tables, as_of=as_of, keep=True)
            season.refresh_from_db(fields=["computed_at"])
            if mine.touched:
                store_touched(season, pairs=mine.touched)
        elif switched:
            store_standings(season)


def _clear(season: Season) -> None:
    """Remove tables that are not shown: those before, or what a worker that died has left."""
    hidden = StandingTable.objects.filter(season=season, shown=False)
    for table in hidden:
        rows = StandingRow.every.filter(table=table)
        while some := list(rows.order_by().values_list("pk", flat=True)[:_WRITTEN_AT_ONCE]):
            with write_transaction():
                rows.filter(pk__in=some).delete()
    with write_transaction():
        hidden.filter(pk__in=[table.pk for table in hidden]).delete()


def latest_rebuild(season: Season) -> StandingsRebuild | None:
    """Return the latest rebuild of a season, to be looked at; None where none was asked for."""
    return StandingsRebuild.objects.filter(season=season).order_by("-requested_at", "pk").first()


def move_rolling_days() -> None:
    """Let the rolling days of open seasons follow the calendar, also while no score arrives.

    What takes long is left to the queue; where it has failed, it is tried again after some hours.
    """
    today, now = timezone.now().date(), timezone.now()
    due = Q(closed_at__isnull=True, stands_on__lt=today, ends_on__gt=F("stands_on"))
    failed = StandingsRebuild.objects.filter(
        season=OuterRef("pk"), state=StandingsRebuild.State.FAILED, requested_at__gt=now - _REST_AFTER_FAULT
    )
    for found in Season.objects.filter(due).exclude(Exists(failed)):
        with write_transaction():
            season = open_seasons(due & Q(pk=found.pk)).first()
            if season is not None and not store_units_of(season, pairs=()):
                ask_for_rebuild(season, by=None)


def sweep_rebuilds(*, queued_too_long: timedelta = QUEUED_TOO_LONG) -> Swept:
    """Put back rebuilds that wait or are silent too long; ask for standings that an update of the program left out."""
    for season in Season.objects.filter(computed_at__isnull=True, version__gt=0, closed_at__isnull=True):
        request_rebuild(season, by=None)
    move_rolling_days()
    return sweep(StandingsRebuild, enqueue=enqueue, what="worked the standings out", queued_too_long=queued_too_long)
