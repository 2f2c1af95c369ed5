from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from competitions.management.importing import class_numbered
from competitions.services.imports import import_class_document
from riders.management.importing import ImportCommand


class Command(ImportCommand):
    help = "Import the marks and outcomes of one class from a class/1 document."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("competition", help="The id of the competition, as in its address.")
        parser.add_argument("number", help="The number of the class.")
        super().add_arguments(parser)
        parser.add_argument("--replace", action="store_true", help="The document is right where other marks are keyed.")
        parser.add_argument("--reason", default="", help="Why, for the history of the sheets.")

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        found = class_numbered(options["competition"], options["number"])
        document = self.document(content)
        summary = import_class_document(found, document, by=None, reason=options["reason"], replace=options["replace"])
        return f"Entries of class {found.number}: {summary}."
