"""A championship as people read it: computed from the results of its classes, with names, as frozen data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

import scoring
from competitions.models import (
    Championship,
    ChampionshipClass,
    ClassResults,
    Competition,
    CompetitionClass,
    Entry,
    PublishedResults,
)
from scoring.championships_table import Cell, Row
from scoring.championships_words import describe_championship as describe_rules

__all__ = [
    "ChampionshipCell",
    "ChampionshipColumn",
    "ChampionshipRow",
    "ChampionshipTeam",
    "ChampionshipView",
    "championship_document",
    "championship_etag",
    "championship_for",
    "championships_counting",
    "championships_of",
    "units_of_classes",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipColumn:
    """One class of the championship and what its figures come from: ``official`` results or ``provisional`` ones."""

    class_id: int
    number: str
    title: str
    date: date
    official: bool
    revision: int
    version: int
    changed_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipCell:
    """What one class brings: its figure as published, whether it counts, and whether it stands in for a missing one."""

    number: str | None
    status: str | None
    value: str | None
    counts: bool
    drop_out: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipRow:
    """One pair, rider or horse; ``pair_id`` and the other name are empty where the unit is not a pair."""

    unit: str
    name: str
    rider: str
    horse: str
    pair_id: int | None
    placing: int | None
    shared: bool
    value: str | None
    cells: tuple[ChampionshipCell, ...]
    tie: Mapping[str, Any] | None
    reason: str | None
    working: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipTeam:
    """One team; ``cells`` are classes, or its members by name where teams are made of the units' values."""

    team: str
    placing: int | None
    shared: bool
    value: str | None
    cells: tuple[ChampionshipCell, ...]
    members: tuple[str, ...]
    reason: str | None
    working: tuple[str, ...]

    @property
    def member_cells(self) -> tuple[tuple[str, ChampionshipCell], ...]:
        """Return each member with what it brings; nothing where the team comes from the classes."""
        return tuple(zip(self.members, self.cells, strict=True)) if self.members else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipView:
    """A championship as it stands; official when all of its classes are, so long ``provisional``.

    ``problem`` says why it cannot be computed; the rows are empty then. ``document`` is ``championship-results/1``.
    """

    championship_id: int
    slug: str
    title: str
    version: int
    etag: str
    competition_slug: str
    competition_title: str
    venue: str
    unit: str
    method: str
    of: str
    description: tuple[str, ...]
    sources: tuple[str, ...]
    official: bool
    columns: tuple[ChampionshipColumn, ...]
    rows: tuple[ChampionshipRow, ...]
    teams: tuple[ChampionshipTeam, ...]
    document: Mapping[str, Any] | None
    problem: str

    @property
    def state(self) -> str:
        return "official" if self.official else "provisional"

    @property
    def value_title(self) -> str:
        """Say in a word or two what the value of a row is, for the head of its column."""
        if self.method == "last-class-decides":
            return "Last class"
        return "Mean" if self.method == "mean" else "Sum"

    @property
    def teams_of_members(self) -> bool:
        """Tell whether teams are made of the values of their members, not of the team results of the classes."""
        return any(team.members for team in self.teams)


@dataclass(frozen=True, slots=True)
class _Part:
    """One class with the results that are shown of it."""

    competition_class: CompetitionClass
    published: PublishedResults | None
    document: Mapping[str, Any]
    entries: Sequence[Entry]


def championships_of(competition: Competition) -> QuerySet[Championship]:
    return competition.championships.order_by("title", "pk")


def championships_counting(competition_class: CompetitionClass) -> QuerySet[Championship]:
    """Return the championships that this class is a part of."""
    return Championship.objects.filter(parts__competition_class=competition_class).order_by("title", "pk")


def championship_etag(championship: Championship) -> str:
    """Return the strong entity tag of a championship: it changes with its rule and with each of its classes."""
    classes = championship.parts.order_by("order").values_list("competition_class_id", "competition_class__version")
    seen = "-".join(f"{class_id}.{version}" for class_id, version in classes)
    return f'"championship-{championship.pk}-{championship.version}-{seen}"'


def units_of_classes(classes: Sequence[CompetitionClass], *, unit: str) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Return name and teams of each pair, rider or horse that is entered in one of these classes, by its id."""
    entries = Entry.objects.filter(competition_class__in=classes).select_related("pair__rider", "pair__horse")
    found: dict[str, tuple[str, tuple[str, ...]]] = {}
    for entry in entries.order_by("team", "pk"):
        name, teams = found.get(_unit_id(entry, unit), (_unit_name(entry, unit), ()))
        more = (entry.team,) if entry.team and entry.team not in teams and not entry.hors_concours else ()
        found[_unit_id(entry, unit)] = (name, teams + more)
    return found


def championship_document(championship: Championship) -> dict[str, Any]:
    """Return ``championship/1`` with the results of the classes: the official ones, else as last computed."""
    return _document(championship, _parts(championship))


def championship_for(championship: Championship) -> ChampionshipView:
    """Compute a championship and read it for showing."""
    parts = _parts(championship)
    document = _document(championship, parts)
    people = _people(championship, parts)
    problem, results = "", None
    try:
        results = scoring.compute_championship(scoring.read_championship(document))
    except scoring.InvalidDocument as error:
        problem = " ".join(dict.fromkeys(found.message for found in error.problems))
    competition = championship.competition
    return ChampionshipView(
        championship_id=championship.pk,
        slug=championship.slug,
        title=championship.title,
        version=championship.version,
        etag=championship_etag(championship),
        competition_slug=competition.slug,
        competition_title=competition.title,
        venue=competition.venue,
        unit=_unit(championship),
        method=championship.document["method"],
        of=championship.document.get("of") or "total",
        description=tuple(describe_championship(document)),
        sources=tuple(championship.document.get("sources") or ()),
        official=all(part.published is not None for part in parts),
        columns=tuple(map(_column, parts)),
        rows=tuple(_row(row, people) for row in results.rows) if results else (),
        teams=tuple(_team(row, results) for row in results.teams) if results else (),
        document=results.as_document() if results else None,
        problem=problem,
    )


def describe_championship(document: Mapping[str, Any]) -> Iterator[str]:
    """Say in plain sentences how a championship is placed; ``document`` is ``championship/1``."""
    titles = [found["title"] for found in document["classes"]]
    rule = {key: value for key, value in document.items() if key not in {"classes", "names"}}
    try:
        rules = scoring.read_championship_rules(rule, classes=len(titles))
    except scoring.InvalidDocument:
        return
    yield from describe_rules(rules, titles)


def _parts(championship: Championship) -> list[_Part]:
    """Read the classes with their results in four queries."""
    links = ChampionshipClass.objects.filter(championship=championship).select_related("competition_class__rule_set")
    classes = [link.competition_class for link in links.order_by("order")]
    ids = [found.pk for found in classes]
    computed = {row.competition_class_id: row for row in ClassResults.objects.filter(competition_class__in=ids)}
    published = {
        row.competition_class_id: row
        for row in PublishedResults.objects.filter(competition_class__in=ids, withdrawn_at__isnull=True).order_by(
            "revision"
        )
    }
    entries: dict[int, list[Entry]] = {pk: [] for pk in ids}
    for entry in Entry.objects.filter(competition_class__in=ids).select_related("pair__rider", "pair__horse"):
        entries[entry.competition_class_id].append(entry)
    parts = []
    for found in classes:
        official = found.results_state == CompetitionClass.ResultsState.OFFICIAL
        revision = published.get(found.pk) if official else None
        latest = computed.get(found.pk)
        document = _as_published(found, revision.document if revision else latest.document if latest else {})
        parts.append(_Part(found, revision, document, entries[found.pk]))
    return parts


def _as_published(competition_class: CompetitionClass, document: Mapping[str, Any]) -> Mapping[str, Any]:
    """Leave out hors concours entries where the rule set keeps them off the list; they would not count anyway."""
    if competition_class.rule_set.document.get("hors_concours") != "hidden":
        return document
    shown = [entry for entry in document.get("entries", []) if not entry["hors_concours"]]
    return {**document, "entries": shown} if document else document


def _document(championship: Championship, parts: Sequence[_Part]) -> dict[str, Any]:
    unit = _unit(championship)
    names: dict[str, str] = {}
    classes = []
    for part in parts:
        shown = {row["number"] for row in part.document.get("entries", [])}
        riding = [entry for entry in part.entries if entry.number in shown]
        names |= {_unit_id(entry, unit): _unit_name(entry, unit) for entry in riding}
        classes.append(
            {
                "title": f"Class {part.competition_class.number}",
                "results": part.document or _no_results(championship, part.competition_class),
                "units": {entry.number: _unit_id(entry, unit) for entry in riding},
            }
        )
    return {**championship.document, "names": names, "classes": classes}


def _no_results(championship: Championship, competition_class: CompetitionClass) -> dict[str, Any]:
    return {
        "format": "results/1",
        "class": f"{championship.competition.slug}/{competition_class.number}",
        "rules": "none yet",
        "entries": [],
        "teams": [],
    }


def _unit(championship: Championship) -> str:
    return championship.document.get("unit") or "pair"


def _unit_id(entry: Entry, unit: str) -> str:
    """Name a unit the same in every class: by its key or registration, else by its row."""
    if unit == "pair":
        return entry.pair.key
    member = entry.pair.rider if unit == "rider" else entry.pair.horse
    return member.registration or f"{unit}-{member.pk}"


def _unit_name(entry: Entry, unit: str) -> str:
    if unit == "pair":
        return str(entry.pair)
    return entry.pair.rider.name if unit == "rider" else entry.pair.horse.name


def _people(championship: Championship, parts: Sequence[_Part]) -> dict[str, tuple[str, str, str, int | None]]:
    """Return name, rider, horse and pair of each unit."""
    unit = _unit(championship)
    people: dict[str, tuple[str, str, str, int | None]] = {}
    for entry in (entry for part in parts for entry in part.entries):
        rider = "" if unit == "horse" else entry.pair.rider.name
        horse = "" if unit == "rider" else entry.pair.horse.name
        pair_id = entry.pair_id if unit == "pair" else None
        people[_unit_id(entry, unit)] = (_unit_name(entry, unit), rider, horse, pair_id)
    return people


def _column(part: _Part) -> ChampionshipColumn:
    found = part.competition_class
    return ChampionshipColumn(
        class_id=found.pk,
        number=found.number,
        title=found.title,
        date=found.date,
        official=part.published is not None,
        revision=part.published.revision if part.published else found.revision,
        version=found.version,
        changed_at=found.changed_at,
    )


def _row(row: Row, people: Mapping[str, tuple[str, str, str, int | None]]) -> ChampionshipRow:
    name, rider, horse, pair_id = people[row.name]
    return ChampionshipRow(
        unit=row.name,
        name=name,
        rider=rider,
        horse=horse,
        pair_id=pair_id,
        placing=row.placing,
        shared=row.shared,
        value=row.value,
        cells=tuple(map(_cell, row.cells)),
        tie=None if row.tie is None else row.tie.as_document(),
        reason=row.reason,
        working=row.working,
    )


def _team(row: Row, results: scoring.ChampionshipResults) -> ChampionshipTeam:
    of_units = results.rules.teams is not None and results.rules.teams.source == "units"
    return ChampionshipTeam(
        team=row.name,
        placing=row.placing,
        shared=row.shared,
        value=row.value,
        cells=tuple(map(_cell, row.cells)),
        members=tuple(cell.title for cell in row.cells) if of_units else (),
        reason=row.reason,
        working=row.working,
    )


def _cell(cell: Cell) -> ChampionshipCell:
    return ChampionshipCell(
        number=cell.number,
        status=cell.status,
        value=None if cell.value is None else cell.shown,
        counts=cell.counts,
        drop_out=cell.value is not None and not cell.own,
    )
