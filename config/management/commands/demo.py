from __future__ import annotations

import time
from argparse import ArgumentParser
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, ProgrammingError

from config.demonstration.accounts import Account, give_passwords
from config.demonstration.documents import DocumentsNotMade, Made, ask_for, make_documents
from config.demonstration.scenario import Scenario, load, loaded_scenario
from config.demonstration.state import State, holdings, state_of_database
from config.demonstration.year_end import year_end_documents
from riders.errors import DomainError, InvalidInput

_PATIENCE = 150.0


class Command(BaseCommand):
    help = (
        "Load the demonstration, an invented show with its season, into an empty database, show who can log in with "
        "new passwords, and serve it. A demonstration that is there already is kept with all that was keyed into it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="Have the show's documents made, list them, and end without serving."
        )
        parser.add_argument(
            "--reset", action="store_true", help="Throw a demonstration away, with all that was keyed, and load anew."
        )
        parser.add_argument("--host", default="127.0.0.1", help="Address to serve on.")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--patience", type=float, default=_PATIENCE, help="Seconds to wait for the documents.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            scenario = self._scenario(reset=options["reset"])
            accounts = scenario.accounts()
            self._show_accounts(accounts, give_passwords(accounts), address=_address(options))
            if options["once"]:
                self._show_documents(make_documents(scenario, patience=options["patience"], say=self._say))
            else:
                ask_for(year_end_documents(scenario.association))
        except InvalidInput as error:
            listed = "\n".join(f"  {where}: {sentence}" for where, sentence in error.problems)
            raise CommandError(f"{error.message}\n{listed}") from error
        except (DomainError, DocumentsNotMade) as error:
            raise CommandError(str(error)) from error
        if not options["once"]:
            call_command("serve", host=options["host"], port=options["port"])

    def _scenario(self, *, reset: bool) -> Scenario:
        try:
            state = state_of_database()
        except (OperationalError, ProgrammingError) as error:
            raise CommandError(
                "The database has no tables yet. Make them with: python manage.py migrate. (make demo does both.)"
            ) from error
        if state is State.OTHER:
            raise CommandError(
                f"The database holds something else than a demonstration ({holdings()}), so nothing was loaded. Set "
                "MARKBOOK_DATA to a folder of its own for the demonstration, or MARKBOOK_DATABASE_URL to an empty "
                "database."
            )
        if state is State.LOADED and not reset:
            scenario = loaded_scenario()
            if scenario is None:
                raise CommandError(
                    "A demonstration is in the database, but a part of its show was removed. Start it with --reset to "
                    "load it anew; all that was keyed into it is lost then."
                )
            self._say("The demonstration is there already. It is kept as it is, with all that was keyed into it.")
            return scenario
        if state is State.LOADED:
            call_command("flush", interactive=False, verbosity=0)
            self._say("The demonstration that was there is thrown away.")
        start = time.monotonic()
        scenario = load(say=self._say)
        self._say(f"The demonstration is loaded ({time.monotonic() - start:.1f} s).")
        return scenario

    def _show_accounts(self, accounts: Sequence[Account], passwords: dict[str, str], *, address: str) -> None:
        self._say("\nPasswords are new and shown only now; those of an earlier start no longer work.\n")
        rows = [("account", "password", "who", "start at")]
        rows += [
            (account.username, passwords[account.username], account.who, f"{address}{account.path}")
            for account in accounts
            if account.username in passwords
        ]
        self._show_table(rows)
        self._say(f"\nWithout an account: {address}/   The API: {address}/api/v1/docs/\n")

    def _show_documents(self, documents: Sequence[Made]) -> None:
        rows = [("pages", "bytes", "document", "file")]
        rows += [(str(made.pages), str(made.size), made.name, made.path) for made in documents]
        self._show_table(rows)
        self._say(f"\n{len(documents)} documents are made; their files lie in {settings.MEDIA_ROOT}.")

    def _show_table(self, rows: Sequence[tuple[str, ...]]) -> None:
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        for row in rows:
            self._say("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def _address(options: dict[str, Any]) -> str:
    if (options["host"], options["port"]) == ("127.0.0.1", 8000):
        return str(settings.PUBLIC_URL)
    return f"http://{options['host']}:{options['port']}"
