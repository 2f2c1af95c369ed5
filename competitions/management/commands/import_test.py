from __future__ import annotations

from typing import Any

from competitions.services.documents import save_test
from riders.management.importing import ImportCommand


class Command(ImportCommand):
    help = "Import a test from a test/1 document."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Test {save_test(self.document(content)).key}."
