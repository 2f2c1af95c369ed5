"""Reading the schemes of the house: which an association has to do with, who saved which version, what fields hold."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.cache import cache
from django.db.models import Max, Min, Q, QuerySet

from riders.models import Association, Scheme, Season
from riders.selectors.ledger import scores_in_force

VOCABULARY = ("level", "division", "kind", "test", "region", "team", "status", "venue", "competition", "owner", "class")
_COLUMNS = {"class": "class_name"}
_MOST_VALUES = 40
_KEPT_SECONDS = 300


@dataclass(frozen=True, slots=True)
class SchemeEntry:
    """A scheme by its latest version; ``own`` where the association uses or has saved it."""

    latest: Scheme
    own: bool
    seasons: tuple[Season, ...]


def schemes_for(association: Association) -> list[SchemeEntry]:
    """Return every scheme by its latest version, those of the association first."""
    latest: dict[str, Scheme] = {}
    for scheme in versions().defer("document").order_by("key", "-version"):
        latest.setdefault(scheme.key, scheme)
    own = set(
        Scheme.objects.filter(Q(seasons__association=association) | Q(change__association=association)).values_list(
            "key", flat=True
        )
    )
    seasons: dict[str, list[Season]] = {}
    for season in association.seasons.select_related("scheme", "association"):
        seasons.setdefault(season.scheme.key, []).append(season)
    entries = [SchemeEntry(one, key in own, tuple(seasons.get(key, ()))) for key, one in latest.items()]
    return sorted(entries, key=lambda entry: (not entry.own, entry.latest.title.casefold(), entry.latest.key))


def versions() -> QuerySet[Scheme]:
    """Select versions with who saved them."""
    return Scheme.objects.select_related("change__by", "change__association")


def versions_of(scheme: Scheme) -> list[Scheme]:
    """Return every version of a scheme with who saved it and the seasons that count by it, the latest first."""
    return list(versions().filter(key=scheme.key).prefetch_related("seasons__association").order_by("-version", "pk"))


def vocabulary_of(association: Association) -> dict[str, list[str]]:
    """Return the values that fields have in the ledger in the days of an association's seasons, a few of each."""
    key = f"vocabulary/{association.pk}"
    found: dict[str, list[str]] | None = cache.get(key)
    if found is None:
        days = association.seasons.aggregate(first=Min("starts_on"), last=Max("ends_on"))
        found = {} if days["first"] is None else _values(days["first"], days["last"])
        cache.set(key, found, _KEPT_SECONDS)
    return found


def _values(first: object, last: object) -> dict[str, list[str]]:
    scores = scores_in_force().filter(date__range=(first, last)).select_related(None)
    found = {}
    for name in VOCABULARY:
        column = _COLUMNS.get(name, name)
        values = scores.exclude(**{column: ""}).order_by(column).values_list(column, flat=True).distinct()
        found[name] = [str(value) for value in values[:_MOST_VALUES]]
    return found
