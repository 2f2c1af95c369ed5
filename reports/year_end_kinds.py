"""The kinds of report that end a season: standings, awards, qualified, certificates."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from reports.kind import Kind, named
from reports.year_end_sources import SeasonDocument
from riders.errors import InvalidInput
from riders.models import Season, SeasonEdition
from riders.policy import Visitor, can, visible
from riders.selectors.editions import edition_in_force
from riders.selectors.standings_tables import shown_tables

NOT_FINAL = 0
"""The option ``edition`` of a list of an open season."""

_MOST_PLACES = 10_000
_LISTS = ("pdf", "xlsx", "csv")


def _finder(*, formats: Collection[str], needs_edition: bool) -> Callable[[int, Mapping[str, Any]], Any]:
    def find(target: int, options: Mapping[str, Any]) -> SeasonDocument | None:
        season = Season.objects.select_related("association", "scheme").filter(pk=target).first()
        if season is None:
            return None
        edition = _edition(season, options.get("edition"), needed=needs_edition)
        count = len(edition.head["tables"]) if edition else len(shown_tables(season))
        return SeasonDocument(
            season=season,
            edition=edition,
            format=_one_of("format", options.get("format", "pdf"), formats),
            table=_number("table", options.get("table"), least=0, most=count - 1),
            places=_number("places", options.get("places"), least=1, most=_MOST_PLACES),
            order=_one_of("order", options.get("order", "name"), ("name", "standings")),
            of=_one_of("of", options.get("of", "placed"), ("placed", "qualified")),
        )

    return find


def _edition(season: Season, asked: object, *, needed: bool) -> SeasonEdition | None:
    """Return the edition asked for, else the one in force; None for a list of an open season, which is not final."""
    in_force = edition_in_force(season)
    if asked is None and in_force is not None:
        return in_force
    number = _number("edition", asked, least=NOT_FINAL, most=2**31 - 1)
    if number:
        edition = SeasonEdition.objects.select_related("season").defer("scores").filter(season=season, number=number)
        found = edition.first()
        if found is None:
            sentence = f"{season.title} has no edition {number}. Choose one of its editions."
            raise InvalidInput(sentence, code="no-edition")
        return found
    if needed:
        raise InvalidInput(
            f"{season.title} is open, so there is nothing final to certify. Close the season first.", code="season-open"
        )
    if in_force is not None:
        raise InvalidInput(
            f"{season.title} is closed: its lists are those of edition {in_force.number}. Ask for that edition.",
            code="season-closed",
        )
    return None


def _number(name: str, given: object, *, least: int, most: int) -> int | None:
    if given is None:
        return None
    if isinstance(given, bool) or not isinstance(given, int) or not least <= given <= most:
        raise InvalidInput(
            f'The option "{name}" of this report is {str(given)[:40]!r}. Give a whole number from {least} to '
            f"{max(most, least)}, or leave it out.",
            problems=[(f"options.{name}", f"Give a whole number from {least} to {max(most, least)}.")],
            code="invalid-option",
        )
    return given


def _one_of(name: str, given: object, known: Collection[str]) -> str:
    if not isinstance(given, str) or given not in known:
        listed = ", ".join(known)
        raise InvalidInput(
            f'The option "{name}" of this report is {str(given)[:40]!r}. Give one of: {listed}.',
            problems=[(f"options.{name}", f"Give one of: {listed}.")],
            code="invalid-option",
        )
    return given


def _settle(document: SeasonDocument, *, names: Collection[str]) -> dict[str, Any]:
    settled = {
        "edition": document.edition.number if document.edition else NOT_FINAL,
        **{name: getattr(document, name) for name in ("format", "table", "places", "order", "of")},
    }
    return {name: value for name, value in settled.items() if name in names and value is not None}


def _version(document: SeasonDocument) -> str:
    edition = document.edition
    return f"edition {edition.number} {edition.digest[:16]}" if edition else str(document.season.version)


def _may_have_list(user: Visitor, document: SeasonDocument) -> bool:
    """Allow the standings to everyone, as the page of the season shows them, and earlier editions to its keepers."""
    edition = document.edition
    return edition is None or visible(user, SeasonEdition.objects.filter(pk=edition.pk)).exists()


def _may_have_more(user: Visitor, document: SeasonDocument) -> bool:
    """Allow awards and qualified units of a season that is not closed to those who keep it."""
    if document.edition is None:
        return can(user, "change", document.season)
    return _may_have_list(user, document)


def _file_name(title: str) -> Callable[[SeasonDocument], str]:
    def name(document: SeasonDocument) -> str:
        edition = f"edition {document.edition.number}" if document.edition else "not final"
        season = document.season
        parts = (season.association.title, season.title, _titled(title, document), edition)
        return named(*parts, ending=document.format)

    return name


def _titled(title: str, document: SeasonDocument) -> str:
    return f"{title} {document.of}" if title == "certificates" else title


def _kind(
    name: str,
    title: str,
    *,
    file: str,
    options: Collection[str],
    may_have: Callable[[Visitor, SeasonDocument], bool],
    formats: Collection[str] = _LISTS,
) -> Kind:
    names = frozenset({"edition", "table", *options})
    certificates = formats != _LISTS
    return Kind(
        name=name,
        title=title,
        private=certificates,
        find=_finder(formats=formats, needs_edition=certificates),
        version=_version,
        may_have=may_have,
        file_name=_file_name(file),
        options=names,
        settle=lambda document: _settle(document, names=names),
    )


YEAR_END = (
    _kind("season-standings", "Standings of a season", file="standings", options={"format"}, may_have=_may_have_list),
    _kind("season-awards", "Awards list", file="awards", options={"format", "places"}, may_have=_may_have_more),
    _kind(
        "season-qualified",
        "Qualified list",
        file="qualified",
        options={"format", "order"},
        may_have=_may_have_more,
    ),
    _kind(
        "season-certificates",
        "Certificates",
        file="certificates",
        options={"of", "places"},
        may_have=lambda user, document: can(user, "change", document.season),
        formats=("pdf",),
    ),
)
