"""What the commands that take a file into a competition share."""

from __future__ import annotations

from argparse import ArgumentParser

from django.core.management.base import CommandError

from competitions.models import Competition, CompetitionClass
from riders.management.importing import ImportCommand


class CompetitionImportCommand(ImportCommand):
    """A command about one competition, named by its id."""

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("competition", help="The id of the competition, as in its address.")
        super().add_arguments(parser)


def competition_named(slug: str) -> Competition:
    found = Competition.objects.filter(slug=slug).first()
    if found is None:
        there = ", ".join(Competition.objects.order_by("slug").values_list("slug", flat=True)) or "none yet"
        raise CommandError(f'There is no competition "{slug}". There are: {there}.')
    return found


def class_numbered(slug: str, number: str) -> CompetitionClass:
    competition = competition_named(slug)
    found = competition.classes.filter(number=number).first()
    if found is None:
        there = ", ".join(competition.classes.values_list("number", flat=True)) or "none yet"
        raise CommandError(f'The competition {slug} has no class "{number}". It has: {there}.')
    return found
