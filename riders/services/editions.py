"""Freezing a season: everything that its lists show, written down once, so that nothing later moves them.

Names, values, places, what is missing in words, the rule in sentences and the counted ledger are kept as they were. A
list of an edition is made of the edition alone: renames, merges, corrections, and other words in a newer program
change nothing in it.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import islice
from typing import Any, TypeVar

from riders.csvrows import write_rows
from riders.models import EditionRow, Season, SeasonEdition
from riders.selectors.details import Detail, details_of
from riders.selectors.ledger import COLUMNS, season_records
from riders.selectors.places import PlacedRow, keys_of_scores, numbers_in, row_document, rows_one_by_one
from riders.selectors.season_lists import list_head, list_row
from riders.selectors.standings_tables import shown_tables
from scoring import season as season_rules

_T = TypeVar("_T")
_AT_ONCE = 200
# What a digest is over: numbers of rows of this database are not part of it.
_SHOWN = (
    "unit", "rider", "horse", "placing", "shared", "value", "qualified", "tier", "note", "missing", "standings",
    "explanations",
)  # fmt: skip


def write_edition(season: Season, *, at: datetime) -> SeasonEdition:
    """Freeze the stored standings and the ledger of a season as its next edition, inside the caller's transaction."""
    head = list_head(season)
    digest = hashlib.sha256(_canonical(head))
    packed = io.BytesIO()
    with gzip.GzipFile(fileobj=packed, mode="wb", mtime=0) as file:
        for line in write_rows(COLUMNS, season_records(season)):
            file.write(line.encode())
            digest.update(line.encode())
    latest = SeasonEdition.objects.filter(season=season).order_by("-number").values_list("number", flat=True).first()
    edition = SeasonEdition.objects.create(
        season=season, number=(latest or 0) + 1, scheme=season.scheme, at=at, head=head, scores=packed.getvalue()
    )
    for rows in batched(_rows(edition), _AT_ONCE):
        for row in rows:
            digest.update(_canonical([row.table, row.position, {name: row.document[name] for name in _SHOWN}]))
        EditionRow.objects.bulk_create(rows)
    edition.digest = digest.hexdigest()
    edition.save(update_fields=["digest"])
    return edition


def _rows(edition: SeasonEdition) -> Iterator[EditionRow]:
    season = edition.season
    scheme = season_rules.read_scheme(season.scheme.document)
    for table in shown_tables(season):
        position = 0
        for some in batched(rows_one_by_one(table), _AT_ONCE):
            details = details_of(season, [placed.row for placed in some])
            keys = keys_of_scores(placed.row for placed in some)
            for placed in some:
                document = _document(placed, details[placed.pk])
                document["standings"] = row_document(placed, scheme=scheme, keys=keys)
                yield EditionRow(
                    edition=edition, table=table.number, position=position, unit=placed.unit, document=document
                )
                position += 1


def _document(placed: PlacedRow, detail: Detail) -> dict[str, Any]:
    """Return what is kept of a row: what lists show, and what stands behind it on the pages."""
    row = placed.row
    return {
        **list_row(placed),
        "note": placed.note,
        "requirements": placed.requirements,
        "counted_scores": numbers_in(row.counted),
        "dropped_scores": numbers_in(row.dropped),
        "ineligible": row.ineligible,
        "explanations": [list(explanation) for explanation in detail.explanations],
        "ties": [[str(part) for part in key] for key in detail.ties],
    }


def batched(rows: Iterable[_T], number: int) -> Iterator[list[_T]]:
    """Yield rows in lists of at most ``number``."""
    left = iter(rows)
    while some := list(islice(left, number)):
        yield some


def _canonical(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
