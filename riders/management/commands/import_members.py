from __future__ import annotations

from typing import Any

from riders.management.importing import ImportCommand
from riders.services.associations import import_members


class Command(ImportCommand):
    help = "Import memberships from a members.csv."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        return f"Memberships: {import_members(content, by=None)}."
