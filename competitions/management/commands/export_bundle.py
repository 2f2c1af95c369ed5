from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from competitions.management.importing import competition_named
from competitions.services.bundles import bundle_text, classes_left_out
from riders.errors import DomainError


class Command(BaseCommand):
    help = "Write the official results of a competition as a results bundle, which an association can recompute."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("competition", help="The id of the competition, as in its address.")
        parser.add_argument("--output", help="The file to write; standard output where it is left out.")

    def handle(self, *args: Any, **options: Any) -> None:
        competition = competition_named(options["competition"])
        try:
            text = bundle_text(competition)
        except DomainError as error:
            raise CommandError(error.message) from error
        for number, why in classes_left_out(competition):
            self.stderr.write(f"Class {number} is left out. {why}")
        if options["output"]:
            Path(options["output"]).write_text(text, encoding="utf-8", newline="")
        else:
            self.stdout.write(text, ending="")
