"""Standings of a season, computed by the scoring core from the ledger and stored row by row."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any

from django.db.models import F, Q
from django.utils import timezone

from riders.models import Pair, Season, StandingRow
from riders.selectors.ledger import scores_for_season
from riders.transactions import write_transaction
from scoring import season as season_rules


def rebuild_standings(season: Season) -> None:
    """Work the whole table of a season out anew and store it, in one transaction of its own."""
    with write_transaction():
        store_standings(season)


def rebuild_touched(dates: Collection[date]) -> None:
    """Rebuild the open seasons that any of these ride dates falls into, inside the caller's transaction."""
    within = Q(pk__in=[])
    for day in dates:
        within |= Q(starts_on__lte=day, ends_on__gte=day)
    for season in Season.objects.filter(within, closed_at__isnull=True).select_related("scheme", "association"):
        store_standings(season)


def store_standings(season: Season) -> None:
    """Compute and store inside the caller's transaction; the rows before are replaced."""
    scheme = season_rules.read_scheme(season.scheme.document)
    scores = season_rules.scores_from_rows(scores_for_season(season))
    standings = season_rules.compute_standings(scheme, scores)
    pairs = dict(Pair.objects.values_list("key", "pk"))
    rows: list[StandingRow] = []
    groups: Any = standings.as_document()["groups"]
    for group in groups:
        rows += [_row_of(season, group["group"], document) for document in group["rows"]]
    for position, (row, computed) in enumerate(zip(rows, standings.rows(), strict=True)):
        row.position = position
        row.explanations = [list(explanation) for explanation in computed.explanations]
        row.pair_id = pairs.get(row.unit) if scheme.unit == "pair" else None
    StandingRow.objects.filter(season=season).delete()
    StandingRow.objects.bulk_create(rows, batch_size=500)
    Season.objects.filter(pk=season.pk).update(version=F("version") + 1, computed_at=timezone.now())


def _row_of(season: Season, group: dict[str, Any], document: dict[str, Any]) -> StandingRow:
    return StandingRow(
        season=season,
        group=group,
        unit=document["unit"],
        placing=document["placing"],
        shared=document["shared"],
        value=document["value"] or "",
        qualified=document["qualified"],
        document=document,
    )
