"""Standings of a season, computed by the scoring core from the ledger and stored row by row."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import date
from itertools import groupby

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from riders.models import Association, Pair, Season, StandingsRebuild, StandingTable
from riders.ranks import Unrankable
from riders.selectors.details import standing_day
from riders.selectors.ledger import days_read, reads_one_of, scores_in_force, season_ledger
from riders.selectors.units import scores_of_units
from riders.services.closed import open_seasons, refuse_closed
from riders.services.columns import NotColumnar, assemble_rows, is_columnar, read_columns, work_columns
from riders.services.standing_rows import Worked, work_rows, write_rows
from riders.services.touched_rows import RankedAsAWhole, merge_rows
from riders.transactions import write_transaction
from scoring import season as season_rules
from scoring.season import Scheme

_MOST_TOUCHED = 2_000
_PAIR_FIELDS = {"pair": "key", "rider": "rider__listed", "horse": "horse__listed"}
"""Where the unit that a pair belongs to stands, for the schemes for which that follows from the pair."""


def rebuild_standings(season: Season) -> None:
    """Work the whole table of a season out anew and store it, in one transaction of its own."""
    with write_transaction():
        store_standings(season)


def rebuild_touched(dates: Collection[date], pairs: Collection[int] | None = None) -> None:
    """Bring the open seasons that any of these ride dates falls into up to date, inside the caller's transaction.

    With ``pairs``, the ids of all pairs that a score was given to or taken from, only their units are worked out anew
    where the scheme allows it.
    """
    for season in seasons_of_days(dates):
        if pairs is None:
            store_standings(season)
        else:
            store_touched(season, pairs=pairs)


def seasons_of_days(dates: Collection[date]) -> Iterable[Season]:
    """Return the open seasons that read any of these days, and those that are being given a scheme which may."""
    days = set(dates)
    if not days:
        return []
    given = Q(Exists(_running_rebuilds().filter(season=OuterRef("pk"), scheme__isnull=False)))
    begun = Q(starts_on__lte=max(days)) | Q(reads_from__lte=max(days)) | given
    near = open_seasons(begun & Q(ends_on__gte=min(days))).annotate(given=given)
    return [season for season in near if season.given or reads_one_of(season, days)]


def rebuild_members(association: Association, riders: Collection[int] | None) -> None:
    """Bring the open seasons of an association up to date after memberships of these riders have changed.

    Without ``riders`` everybody's: whether an association keeps members at all decides for everyone. Inside the
    caller's transaction.
    """
    pairs = None if riders is None else set(Pair.objects.filter(rider__in=riders).values_list("pk", flat=True))
    for season in open_seasons(Q(association=association)):
        if pairs is None:
            store_standings(season)
        elif pairs:
            store_touched(season, pairs=pairs)


def store_standings(season: Season) -> None:
    """Compute and store inside the caller's transaction; the rows before are replaced."""
    running_rebuild(season).update(again=True)
    scheme = season_rules.read_scheme(season.scheme.document)
    day = standing_day(season, scheme)
    tables = write_tables(season, compute_rows(season, scheme, as_of=day))
    show_tables(season, tables, as_of=day)


def store_touched(season: Season, *, pairs: Collection[int]) -> bool:
    """Bring the rows of these pairs up to date as :func:`store_units_of` does, or else everything.

    Says whether the short way was taken. Inside the caller's transaction.
    """
    short = store_units_of(season, pairs=pairs)
    if not short:
        store_standings(season)
    return short


def store_units_of(season: Season, *, pairs: Collection[int]) -> bool:
    """Compute only the units of these pairs and store what has changed of them; no other row is written.

    Where rolling days have moved since, also the units with scores that have come into them or fallen out. Says False,
    with nothing done, where a unit's figures depend on the rides of others (places counted again, shared places, shares
    of the season's competitions), where the units of a pair are not known, and where there are too many. Inside the
    caller's transaction.
    """
    scheme = season_rules.read_scheme(season.scheme.document)
    day = standing_day(season, scheme)
    if scheme.looks_at_others or season.computed_at is None or (day is None) != (season.stands_on is None):
        return False
    touched = {*pairs, *_pairs_of_moved_days(season, scheme, day)}
    units = _units_of(scheme, touched) if len(touched) <= _MOST_TOUCHED else None
    if units is None:
        return False
    try:
        merge_rows(season, scheme, compute_rows(season, scheme, units=units, as_of=day), units=units)
    except RankedAsAWhole:
        return False
    _tell_rebuild(season, touched)
    _say_computed(season, as_of=day)
    return True


def _pairs_of_moved_days(season: Season, scheme: Scheme, day: date | None) -> Collection[int]:
    """Return the pairs with scores in days that count on one of two days only: the one stored, and this one."""
    if day is None or day == season.stands_on:
        return ()
    windows = [scheme.season.window(one) for one in (season.stands_on, day)]
    early, late = sorted(window.first or date.min for window in windows)
    sooner, later = sorted(window.last or date.max for window in windows)
    at_the_edges = Q(date__gte=early, date__lt=late) | Q(date__gt=sooner, date__lte=later)
    within = scores_in_force().filter(date__range=days_read(season, scheme))
    found = within.filter(at_the_edges).order_by().values_list("pair_id", flat=True)
    return found.distinct()[: _MOST_TOUCHED + 1]


def compute_rows(
    season: Season,
    scheme: Scheme,
    *,
    units: frozenset[str] | None = None,
    as_of: date | None = None,
    progress: Callable[[float], None] = lambda _share: None,
) -> list[Worked]:
    """Work out the rows of a season by a scheme, table by table; ``progress`` hears the share of the ledger read.

    Rolling days stand on ``as_of``. With ``units`` only their rows, before ``after`` compares them with others'.
    Schemes that need no search take the columnar path, all others, and ledgers with figures that fit into no columns,
    the exact one; both give equal rows.
    """
    if is_columnar(scheme):
        pairs = None if units is None else _pairs_of(scheme, units)
        try:
            return _by_columns(season, scheme, pairs=pairs, as_of=as_of, progress=progress)
        except (NotColumnar, Unrankable):
            pass
    return compute_rows_exactly(season, scheme, units=units, as_of=as_of)


def _by_columns(
    season: Season,
    scheme: Scheme,
    *,
    pairs: list[int] | None,
    progress: Callable[[float], None],
    as_of: date | None = None,
) -> list[Worked]:
    work = work_columns(scheme, read_columns(season, scheme, pairs=pairs, progress=progress), as_of=as_of)
    return [] if work is None else assemble_rows(scheme, work, partial=pairs is not None)


def compute_rows_exactly(
    season: Season, scheme: Scheme, *, units: frozenset[str] | None = None, as_of: date | None = None
) -> list[Worked]:
    """Work out rows as :func:`compute_rows` does, by the scoring core alone: the referee of the columnar path."""
    among = None if units is None else scores_of_units(scheme, units)
    ledger = season_ledger(season, scheme, among=among)
    standings = season_rules.compute_standings(scheme, ledger.scores, units=units, as_of=as_of)
    return work_rows(scheme, standings.rows(), ledger=ledger)


def write_tables(season: Season, rows: Iterable[Worked]) -> list[int]:
    """Write rows, which stand table by table, into new tables that are not shown yet; return the tables' numbers."""
    written = []
    for number, (group, members) in enumerate(groupby(rows, key=lambda row: row.group)):
        held = list(members)
        table = StandingTable.objects.create(
            season=season, number=number, group=season_rules.group_as_dict(group), size=len(held)
        )
        write_rows((table.pk, row) for row in held)
        written.append(table.pk)
    return written


def show_tables(season: Season, tables: Collection[int], *, as_of: date | None, keep: bool = False) -> None:
    """Show these tables in the place of those before, which go unless ``keep``; inside the caller's transaction.

    ``as_of`` is the day on which rolling days stand in them.

    Raises ``NotAllowed`` where the season is closed.
    """
    refuse_closed(season, what="its standings stay as they are")
    before = StandingTable.objects.filter(season=season, shown=True)
    if keep:
        before.update(shown=False)
    else:
        before.delete()
    StandingTable.objects.filter(pk__in=tables).update(shown=True)
    _say_computed(season, as_of=as_of)


def running_rebuild(season: Season) -> QuerySet[StandingsRebuild]:
    """Select the rebuild that works on a season elsewhere just now; the caller has locked the season."""
    return _running_rebuilds().filter(season=season)


def _running_rebuilds() -> QuerySet[StandingsRebuild]:
    return StandingsRebuild.objects.filter(state=StandingsRebuild.State.RUNNING)


def _tell_rebuild(season: Season, pairs: Collection[int]) -> None:
    """Note what changes while the standings are worked out as a whole elsewhere, to be worked out again there."""
    rebuild = running_rebuild(season).select_for_update().first()
    if rebuild is not None:
        running_rebuild(season).update(touched=sorted({*rebuild.touched, *pairs}))


def _units_of(scheme: Scheme, pairs: Collection[int]) -> frozenset[str] | None:
    """Return the units that pairs belong to, where that follows from the pair alone."""
    field = _PAIR_FIELDS.get(scheme.unit)
    return None if field is None else frozenset(Pair.objects.filter(pk__in=pairs).values_list(field, flat=True))


def _pairs_of(scheme: Scheme, units: Collection[str]) -> list[int]:
    """Return every pair whose rides may count for these units."""
    return list(Pair.objects.filter(**{f"{_PAIR_FIELDS[scheme.unit]}__in": units}).values_list("pk", flat=True))


def _say_computed(season: Season, *, as_of: date | None) -> None:
    Season.objects.filter(pk=season.pk).update(version=F("version") + 1, computed_at=timezone.now(), stands_on=as_of)
    season.stands_on = as_of
