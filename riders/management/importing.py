"""What the commands that take in one file share."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from riders.errors import DomainError, InvalidInput
from scoring.documents import InvalidDocument, load_json


class ImportCommand(BaseCommand):
    """A command that hands one file to ``take_in`` and says what came of it, or everything that is wrong with it."""

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="The file to import; - for standard input.")

    def handle(self, *_: Any, **options: Any) -> None:
        try:
            said = self.take_in(_content(options["file"]), options)
        except InvalidDocument as error:
            raise CommandError(
                _listed("The file cannot be read.", [(p.path, p.message) for p in error.problems])
            ) from error
        except InvalidInput as error:
            raise CommandError(_listed(error.message, error.problems)) from error
        except DomainError as error:
            raise CommandError(error.message) from error
        self.stdout.write(said)

    def take_in(self, content: bytes, options: dict[str, Any]) -> str:
        raise NotImplementedError

    @staticmethod
    def document(content: bytes) -> object:
        return load_json(content)


def _content(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(name).read_bytes()
    except OSError as error:
        raise CommandError(f"{name} cannot be read ({error.strerror}). Name a file that is there.") from error


def _listed(message: str, problems: list[tuple[str, str]]) -> str:
    return "\n".join([message, *(f"  {where or 'file'}: {sentence}" for where, sentence in problems)])
