from __future__ import annotations

from typing import Any

from competitions.services.documents import save_rule_set
from riders.management.importing import ImportCommand


class Command(ImportCommand):
    help = "Import a rule set from a rules/1 document."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Rule set {save_rule_set(self.document(content)).key}."
