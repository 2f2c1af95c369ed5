from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from competitions.management.importing import class_numbered, competition_named
from competitions.models import CompetitionClass, RuleSet, Test
from competitions.selectors.documents import class_document
from competitions.services import exports
from riders.models import Association, Scheme
from riders.selectors.ledger import scores_csv, scores_in_force
from riders.services.associations import association_document, members_csv


def _results(competition_class: CompetitionClass) -> dict[str, Any]:
    """Return what is official, or what is computed while nothing is."""
    official = competition_class.published.filter(withdrawn_at__isnull=True).first()
    document: dict[str, Any] = (official or competition_class.results).document
    return document


def _kept(model: Any, key: str) -> Any:
    found = model.objects.filter(key=key).order_by("-pk").first()
    if found is None:
        raise CommandError(f'There is no {model._meta.verbose_name} "{key}".')  # noqa: SLF001 - Django's name for it
    return found.document


def _association(slug: str) -> Association:
    found = Association.objects.filter(slug=slug).first()
    if found is None:
        raise CommandError(f'There is no association "{slug}".')
    return found


_WHAT: dict[str, Callable[..., Any]] = {
    "competition": lambda slug: exports.competition_document(competition_named(slug)),
    "entries": lambda slug: exports.entries_csv(competition_named(slug)),
    "marks": lambda slug: exports.marks_csv(competition_named(slug)),
    "outcomes": lambda slug: exports.outcomes_csv(competition_named(slug)),
    "class": lambda slug, number: class_document(class_numbered(slug, number), moments=True),
    "results": lambda slug, number: _results(class_numbered(slug, number)),
    "test": lambda key: _kept(Test, key),
    "rule-set": lambda key: _kept(RuleSet, key),
    "scheme": lambda key: _kept(Scheme, key),
    "association": lambda slug: association_document(_association(slug)),
    "members": lambda slug: members_csv(_association(slug)),
    "scores": lambda: scores_csv(scores_in_force().order_by("date", "key")),
}


class Command(BaseCommand):
    help = "Write one thing in the shape in which it is imported: competition ID, class ID NUMBER, test ID, scores, ..."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=list(_WHAT))
        parser.add_argument("name", nargs="*", help="The id; of a class its competition's id and its number.")
        parser.add_argument("--output", help="The file to write; standard output where it is left out.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = _WHAT[options["what"]](*options["name"])
        except TypeError as error:
            raise CommandError(f"{options['what']} needs other names than {options['name']}. See --help.") from error
        text = _text(found)
        if options["output"]:
            Path(options["output"]).write_text(text, encoding="utf-8", newline="")
        else:
            self.stdout.write(text, ending="")


def _text(found: dict[str, Any] | Iterable[str]) -> str:
    if isinstance(found, dict):
        return json.dumps(found, ensure_ascii=False, indent=2) + "\n"
    return "".join(found)
