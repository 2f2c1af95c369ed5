from __future__ import annotations

from typing import Any

from riders.management.importing import ImportCommand
from riders.services.scheme_versions import save_scheme


class Command(ImportCommand):
    help = "Import a season rule from a scheme/1 document; a changed one becomes the next version."

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        scheme = save_scheme(self.document(content))
        return f"Scheme {scheme.key}, version {scheme.version}."
