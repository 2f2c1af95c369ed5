from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from riders.management.importing import ImportCommand
from riders.services.direct_imports import import_scores


class Command(ImportCommand):
    help = "Import official scores into the ledger from a scores/1 file, CSV or JSON lines."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--source", default="", help="Where the file comes from; decisions on names belong to it.")
        parser.add_argument("--dry-run", action="store_true", help="Say what would be done, and do nothing.")

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        dry_run = options["dry_run"]
        said = import_scores(content, by=None, source=options["source"], dry_run=dry_run)
        return f"{'Scores, nothing done' if dry_run else 'Scores'}: {said}."
