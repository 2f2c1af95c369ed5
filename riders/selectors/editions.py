"""Reading a closed season: rows of its edition as they were frozen, and what the ledger has become since."""

from __future__ import annotations

import csv
import gzip
import io
from array import array
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from riders.models import (
    EditionRow,
    Horse,
    Pair,
    Rider,
    Score,
    Season,
    SeasonChange,
    SeasonEdition,
    StandingRow,
    StandingTable,
)
from riders.selectors.ledger import season_records
from riders.selectors.places import PlacedRow
from scoring.cells import unguarded

_AT_ONCE = 500
NAMES = frozenset({"pair", "rider", "horse"})
_NUMBERS = ("placing", "starters", "horse_age")
_FLAGS = ("highest_of_level", "hors_concours", "recognised", "member")


@dataclass(frozen=True, slots=True)
class ChangedScore:
    """A score that is not in the ledger as it was counted: ``what`` is added, changed, named or gone.

    ``differences`` are (field, then, now) under the names of ``scores/1``; ``named`` is a score of which only the pair
    or a name differs, by a merge or a new name.
    """

    key: str
    what: str
    record: Mapping[str, str]
    differences: tuple[tuple[str, str, str], ...] = ()

    @property
    def day(self) -> date:
        return date.fromisoformat(self.record["date"])


def edition_in_force(season: Season) -> SeasonEdition | None:
    """Return the edition that a closed season stands by; None while it is open."""
    if season.closed_at is None:
        return None
    return editions_of(season).first()


def editions_of(season: Season) -> QuerySet[SeasonEdition]:
    """Select a season's editions, the latest first, without the ledger that each of them keeps."""
    return SeasonEdition.objects.filter(season=season).defer("scores").order_by("-number")


def season_history(season: Season) -> QuerySet[SeasonChange]:
    """Select what was done to a season, the latest first."""
    changes = SeasonChange.objects.filter(season=season).select_related("by", "edition")
    return changes.defer("edition__scores", "edition__head").order_by("-pk")


def frozen_rows(
    edition: SeasonEdition, *, table: int, first: int = 0, number: int | None = None
) -> Iterator[dict[str, Any]]:
    """Yield the documents of ``number`` rows of a table of an edition from the one at ``first`` on, in their order."""
    rows = EditionRow.objects.filter(edition=edition, table=table, position__gte=first)
    if number is not None:
        rows = rows.filter(position__lt=first + number)
    return rows.order_by("position").values_list("document", flat=True).iterator(chunk_size=_AT_ONCE)


def frozen_placed(edition: SeasonEdition, *, table: int, first: int = 0, number: int | None = None) -> list[PlacedRow]:
    """Return rows of a table of the edition in force as pages show them; what they link to is as it is today."""
    documents = list(frozen_rows(edition, table=table, first=first, number=number))
    rows = _rows_today(edition.season, [document["unit"] for document in documents])
    head = edition.head["tables"][table]
    shown = StandingTable(season=edition.season, number=table, group=head["group"], size=head["rows"])
    return [_placed(shown, document, rows.get((table, document["unit"]))) for document in documents]


def as_frozen(edition: SeasonEdition, placed: Sequence[PlacedRow]) -> list[PlacedRow]:
    """Return rows of the season that the edition is in force for with the names, figures and words it has of them."""
    frozen = {
        (row.table, row.unit): row.document
        for row in EditionRow.objects.filter(edition=edition, unit__in={one.unit for one in placed})
    }
    return [_placed(one.row.table, frozen[one.table, one.unit], one.row) for one in placed]


def frozen_scores(edition: SeasonEdition, keys: Collection[str]) -> list[Score]:
    """Return the scores with these ids as they were counted, by day; none of them is a row of the database.

    Only where each came from is looked up today, for the link to its class.
    """
    wanted = set(keys)
    records = [record for record in frozen_records(edition) if record["score_id"] in wanted]
    sources = dict(Score.objects.filter(key__in=wanted).values_list("key", "source"))
    scores = [_score(record, source=sources.get(record["score_id"], "")) for record in records]
    return sorted(scores, key=lambda score: (score.date, score.key))


def frozen_records(edition: SeasonEdition) -> Iterator[dict[str, str]]:
    """Yield the records of ``scores/1`` that were counted, with the membership as it was worked out."""
    packed = gzip.GzipFile(fileobj=io.BytesIO(edition.scores))
    with io.TextIOWrapper(packed, "utf-8", newline="") as file:
        rows = csv.reader(file)
        names = next(rows)
        for row in rows:
            yield {
                name: unguarded(value) if value[:1] == "'" else value for name, value in zip(names, row, strict=True)
            }


def frozen_scores_csv(edition: SeasonEdition) -> bytes:
    """Return the counted ledger as the ``scores/1`` CSV file that it was frozen as."""
    return gzip.decompress(edition.scores)


def changes_since(edition: SeasonEdition) -> list[ChangedScore]:
    """Return what is different in the ledger of the season's days from what was counted, in the order of score ids."""
    then = {record["score_id"]: record for record in frozen_records(edition)}
    found = []
    for record in season_records(edition.season):
        before = then.pop(record["score_id"], None)
        if before is None:
            found.append(ChangedScore(record["score_id"], "added", record))
        elif before != record:
            found.append(_changed(before, record))
    found += [ChangedScore(key, "gone", record) for key, record in then.items()]
    return sorted(found, key=lambda change: change.key)


def _changed(before: Mapping[str, str], after: Mapping[str, str]) -> ChangedScore:
    differences = tuple((name, before[name], after[name]) for name in after if before.get(name) != after[name])
    what = "named" if NAMES.issuperset(name for name, _, _ in differences) else "changed"
    return ChangedScore(after["score_id"], what, after, differences)


def _rows_today(season: Season, units: Sequence[str]) -> dict[tuple[int, str], StandingRow]:
    """Return the stored rows of units: a merge may have made the pair that a row is about another one."""
    found: dict[tuple[int, str], StandingRow] = {}
    for start in range(0, len(units), _AT_ONCE):
        rows = season.rows.filter(unit__in=units[start : start + _AT_ONCE]).select_related("table")
        found |= {(row.table.number, row.unit): row for row in rows.only("table", "unit", "pair", "rank", "name_order")}
    return found


def _placed(table: StandingTable, frozen: Mapping[str, Any], today: StandingRow | None) -> PlacedRow:
    row = StandingRow(
        table=table,
        explanations=frozen["explanations"],
        ranking={"ties": frozen["ties"]},
        counted=_packed(frozen["counted_scores"]),
        dropped=_packed(frozen["dropped_scores"]),
        **{name: frozen[name] for name in ("unit", "value", "qualified", "tier", "note", "requirements", "ineligible")},
    )
    if today is not None:
        row.pk, row.rank, row.name_order = today.pk, today.rank, today.name_order
    if frozen["rider"]:
        pair = today.pair_id if today else None
        row.pair = Pair(pk=pair, rider=Rider(name=frozen["rider"]), horse=Horse(name=frozen["horse"]))
    return PlacedRow(row, frozen["placing"], frozen["shared"])


def _packed(numbers: Sequence[int]) -> bytes:
    return array("q", numbers).tobytes()


def _score(record: Mapping[str, str], *, source: str) -> Score:
    values: dict[str, Any] = {
        name: value for name, value in record.items() if name not in {"score_id", "class", "judges", *NAMES}
    }
    values |= {name: int(record[name]) if record[name] else None for name in _NUMBERS}
    values |= {name: record[name] == "true" if record[name] else None for name in _FLAGS}
    pair = Pair(key=record["pair"], rider=Rider(name=record["rider"]), horse=Horse(name=record["horse"]))
    score = Score(key=record["score_id"], source=source, class_name=record["class"], pair=pair, **values)
    score.judges = record["judges"].split(";") if record["judges"] else []
    score.date = date.fromisoformat(record["date"])
    return score
