from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError

from riders.management.importing import ImportCommand
from riders.models import Association
from riders.services.direct_imports import import_bundle


class Command(ImportCommand):
    help = "Recompute a results bundle of another show and post its scores to the ledger."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("association", help="The id of the association that counts the scores.")
        super().add_arguments(parser)
        parser.add_argument("--dry-run", action="store_true", help="Say what would be done, and do nothing.")
        parser.add_argument("--reason", default="", help="Why, for the history of the scores.")

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        association = Association.objects.filter(slug=options["association"]).first()
        if association is None:
            there = ", ".join(Association.objects.order_by("slug").values_list("slug", flat=True)) or "none yet"
            raise CommandError(f'There is no association "{options["association"]}". There are: {there}.')
        dry_run = options["dry_run"]
        done = import_bundle(content, association=association, by=None, reason=options["reason"], dry_run=dry_run)
        return f"Nothing was done. {done}" if dry_run else str(done)
