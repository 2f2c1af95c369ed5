from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from competitions.management.importing import CompetitionImportCommand, competition_named
from competitions.services.imports import import_marks


class Command(CompetitionImportCommand):
    help = "Import marks and remarks from a marks.csv."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--replace", action="store_true", help="The file is right where other marks are keyed.")
        parser.add_argument("--reason", default="", help="Why, for the history of the sheets.")

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        competition = competition_named(options["competition"])
        summary = import_marks(competition, content, by=None, reason=options["reason"], replace=options["replace"])
        return f"Marks and remarks: {summary}."
