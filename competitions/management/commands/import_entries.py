from __future__ import annotations

from typing import Any

from competitions.management.importing import CompetitionImportCommand, competition_named
from competitions.services.imports import import_entries


class Command(CompetitionImportCommand):
    help = "Import entries from an entries.csv."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Entries: {import_entries(competition_named(options['competition']), content, by=None)}."
