"""Standings as they stood on a day: the ledger as it is known now, with the rides up to that day only."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from datetime import date

from django.core.cache import cache

from riders.errors import InvalidInput
from riders.models import Pair, Season, StandingTable
from riders.selectors.ledger import days_read, scores_in_force, season_ledger
from riders.selectors.places import PlacedRow
from riders.selectors.standings_tables import TablePage
from riders.services.standing_rows import unsaved_row, work_rows
from scoring import season as season_rules
from scoring.season import Scheme

MOST_SCORES = 20_000
_KEPT_SECONDS = 600


def standings_as_of(
    season: Season, written: str, *, at_work: AbstractContextManager[None] | None = None
) -> list[TablePage]:
    """Return the tables of a season as of a day; nothing is stored. ``at_work`` is entered where they are worked out.

    Raises :class:`InvalidInput` where the day is none, or the ledger of the season is too long to be worked out while
    someone waits.
    """
    day = _day(written, season)
    scheme = season_rules.read_scheme(season.scheme.document)
    if scores_in_force().filter(date__range=days_read(season)).count() > MOST_SCORES:
        raise InvalidInput(
            f"This season has more than {MOST_SCORES} scores, too many to go back to a day while you wait. Take the "
            "ledger as a file and use the command line: python -m scoring standings --as-of."
        )
    key = f"standings/{season.pk}/{season.version}/{season.scheme_id}/{day}"
    tables: list[TablePage] | None = cache.get(key)
    if tables is None:
        with at_work or nullcontext():
            tables = _tables(season, scheme, day)
        cache.set(key, tables, _KEPT_SECONDS)
    return tables


def _tables(season: Season, scheme: Scheme, day: date) -> list[TablePage]:
    ledger = season_ledger(season, scheme)
    standings = season_rules.compute_standings(scheme, ledger.scores, as_of=day)
    pairs = Pair.objects.select_related("rider", "horse").in_bulk(set(ledger.pairs.values()))
    tables = []
    for number, group in enumerate(standings.groups):
        table = StandingTable(season=season, number=number, group=season_rules.group_as_dict(group.group))
        worked = work_rows(scheme, group.rows, ledger=ledger)
        members = tuple(
            PlacedRow(unsaved_row(table, stored, pairs), row.placing, row.shared)
            for stored, row in zip(worked, group.rows, strict=True)
        )
        tables.append(TablePage(number, table.group, members, len(members)))
    return tables


def _day(written: str, season: Season) -> date:
    try:
        day = date.fromisoformat(written)
    except ValueError:
        raise InvalidInput(
            f'"{written[:20]}" is no day. Give a day of the season, such as {season.starts_on}.'
        ) from None
    if len(written) != 10 or not season.starts_on <= day <= season.ends_on:
        raise InvalidInput(
            f"{written[:20]} is not in this season. Give a day from {season.starts_on} to {season.ends_on}."
        )
    return day
