from __future__ import annotations

from typing import Any

from competitions.services.imports import import_competition
from riders.management.importing import ImportCommand


class Command(ImportCommand):
    help = "Import a competition with its classes and panels from a competition/1 document."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Competition and classes: {import_competition(self.document(content), by=None)}."
