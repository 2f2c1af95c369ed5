"""Whose scores are whose: the units of a scheme as a question to the ledger."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Q, QuerySet, TextField
from django.db.models.fields.json import KT
from django.db.models.functions import Cast

from riders.models import Pair, Scheme, Score, StandingRow
from scoring import season as season_rules

_LOOKUPS = {
    "pair": "pair__key",
    "rider": "pair__rider__listed",
    "horse": "pair__horse__listed",
    "class": "class_name",
} | {name: name for name in ("division", "level", "test", "kind", "competition", "region", "team", "venue", "owner")}


def rows_about(pairs: Collection[Pair]) -> QuerySet[StandingRow]:
    """Return the rows of the standings of these pairs, and those of their riders and horses in seasons that rank such.

    A season that ranks riders knows them by the name that its tables show, which tells namesakes apart.
    """
    # As text: PostgreSQL compares no parts of json documents, and SQLite wants JSON beside them.
    schemes = Scheme.objects.annotate(ranked=Cast(KT("document__unit"), TextField())).order_by()
    riders, horses = {pair.rider.listed for pair in pairs}, {pair.horse.listed for pair in pairs}
    return StandingRow.objects.filter(
        Q(pair__in=pairs)
        | Q(unit__in=riders, table__season__scheme__in=schemes.filter(ranked="rider").values("pk"))
        | Q(unit__in=horses, table__season__scheme__in=schemes.filter(ranked="horse").values("pk"))
    )


def scores_of_units(scheme: season_rules.Scheme, units: Collection[str]) -> QuerySet[Score] | None:
    """Return the scores of these units, or None where a scheme looks at everybody's or the ledger cannot be asked."""
    lookup = _LOOKUPS.get(scheme.unit)
    if lookup is None or scheme.looks_at_others:
        return None
    return Score.objects.filter(**{f"{lookup}__in": list(units)})


def units_of_pair(scheme: season_rules.Scheme, pair: Pair, scores: QuerySet[Score]) -> list[str]:
    """Return the units that a pair belongs to among these scores of it: itself, its rider, its horse, its teams, ..."""
    own = {"pair": pair.key, "rider": pair.rider.listed, "horse": pair.horse.listed}
    if scheme.unit in own:
        return [own[scheme.unit]]
    lookup = _LOOKUPS.get(scheme.unit)
    if lookup is None:
        return []
    return sorted({str(value) for value in scores.values_list(lookup, flat=True) if value})
