from __future__ import annotations

from typing import Any

from riders.management.importing import ImportCommand
from riders.services.associations import import_association


class Command(ImportCommand):
    help = "Import an association and its seasons from an association/1 document."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Association and seasons: {import_association(self.document(content), by=None)}."
