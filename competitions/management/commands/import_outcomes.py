from __future__ import annotations

from typing import Any

from competitions.management.importing import CompetitionImportCommand, competition_named
from competitions.services.imports import import_outcomes


class Command(CompetitionImportCommand):
    help = "Import statuses, errors of course and deductions from an outcomes.csv."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Outcomes: {import_outcomes(competition_named(options['competition']), content, by=None)}."
