from __future__ import annotations

from typing import Any

from riders.management.importing import ImportCommand
from riders.services.ledger_import import import_scores


class Command(ImportCommand):
    help = "Import official scores into the ledger from a scores/1 file, CSV or JSON lines."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Scores: {import_scores(content, by=None)}."
