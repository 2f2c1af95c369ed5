"""Rows for the ledger, of pairs of our own invention."""

from __future__ import annotations

from datetime import date
from typing import Any

from riders.models import Score
from riders.services.ledger import ScoreRow, post_scores
from riders.transactions import write_transaction
from tests.builders import make_pair


def row(n: int = 1, *, key: str = "", competition: str = "", **fields: Any) -> ScoreRow:
    """Return a completed novice ride of pair n with 65 per cent in the season 2027, unless told otherwise."""
    return ScoreRow(
        key=key or f"score-{n}",
        source=Score.Source.IMPORT,
        pair=fields.pop("pair", None) or make_pair(n),
        competition=competition or f"show-{n}",
        **{"date": date(2026, 11, 1), "level": "novice", "percentage": "65.000", "status": "completed"}
        | {"hors_concours": False, "judges": ["Judge Lind"]}
        | fields,
    )


def post(*rows: ScoreRow) -> None:
    """Post rows as an import does; the seasons they fall into are brought up to date."""
    with write_transaction():
        post_scores(list(rows), by=None)
