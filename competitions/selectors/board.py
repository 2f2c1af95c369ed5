"""What the board, the API and the result list show of a class, read once into frozen data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from competitions.models import ClassResults, CompetitionClass, Entry, PublishedResults
from competitions.selectors.versions import class_version

__all__ = [
    "Board",
    "BoardRow",
    "Coming",
    "CountingMember",
    "SeatCell",
    "SeatColumn",
    "TeamRow",
    "board_etag",
    "board_for",
    "class_version",
]


@dataclass(frozen=True, slots=True)
class SeatColumn:
    """A seat of the panel and the name of its judge, empty when nobody is named; without ``parts`` it marks all."""

    seat: str
    judge: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SeatCell:
    """One seat's result for one entry, as published text; ``place`` is the place under that seat alone."""

    points: str | None
    percentage: str | None
    place: int | None
    adjusted_to: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    """One entry of the results, with its names and the working of its total."""

    entry_id: int
    pair_id: int
    number: str
    rider: str
    horse: str
    owner: str
    team: str
    status: str
    reason: str
    hors_concours: bool
    placing: int | None
    shared: bool
    total: str | None
    points: str | None
    penalty: str | None
    so_far: str | None
    seats: Mapping[str, SeatCell]
    parts: Mapping[str, str]
    collectives: str | None
    tie: Mapping[str, Any] | None
    working: tuple[str, ...]
    ride_time: datetime | None


@dataclass(frozen=True, slots=True)
class Coming:
    """A ride that is still to come, or the one in the ring."""

    entry_id: int
    number: str
    rider: str
    horse: str
    ride_time: datetime | None
    order: int | None


@dataclass(frozen=True, slots=True)
class TeamRow:
    team: str
    placing: int | None
    value: str | None
    counting: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CountingMember:
    """An entry that counts for its team, with the figure that it brings."""

    number: str
    rider: str
    figure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A class as it stands at one version; ``state`` is provisional, official or withdrawn."""

    class_id: int
    competition_slug: str
    competition_title: str
    venue: str
    zone: ZoneInfo
    number: str
    title: str
    level: str
    division: str
    test_title: str
    rules_title: str
    rules_key: str
    arena: str
    date: date
    version: int
    revision: int
    state: str
    correcting: bool
    published_at: datetime | None
    changed_at: datetime
    seats: tuple[SeatColumn, ...]
    rows: tuple[BoardRow, ...]
    in_ring: Coming | None
    to_come: tuple[Coming, ...]
    teams: tuple[TeamRow, ...]
    penalty: bool
    problem: str
    team_rules: Mapping[str, Any] | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """Name the parts that the totals are put together from, in the order of the rule set; none where all is one."""
        return tuple(dict.fromkeys(name for row in self.rows for name in row.parts))

    def members_of(self, team: TeamRow) -> tuple[CountingMember, ...]:
        """Return the entries that count for a team, in the order in which they count."""
        figure = {"points": "points", "penalty": "penalty"}.get((self.team_rules or {}).get("of", ""), "total")
        rows = {row.number: row for row in self.rows}
        return tuple(
            CountingMember(number, rows[number].rider, getattr(rows[number], figure) or "")
            for number in team.counting
            if number in rows
        )


def board_for(
    competition_class: CompetitionClass, *, published: PublishedResults | None = None, everyone: bool = False
) -> Board:
    """Read a class for showing.

    Official results come from their frozen revision, others from the results as last computed. ``published`` asks for
    one revision of the past. ``everyone`` keeps hors concours entries that the rule set hides (for the office).
    """
    if published is None and competition_class.results_state == CompetitionClass.ResultsState.OFFICIAL:
        published = competition_class.published.first()
    results = ClassResults.objects.filter(competition_class=competition_class).first()
    document = published.document if published else results.document if results else {}
    entries = _entries(competition_class)
    by_number = {entry.number: entry for entry in entries}
    hidden = not everyone and competition_class.rule_set.document.get("hors_concours") == "hidden"
    rows = [
        _row(by_number[row["number"]], row)
        for row in document.get("entries", [])
        if row["number"] in by_number and not (hidden and row["hors_concours"])
    ]
    competition = competition_class.competition
    return Board(
        class_id=competition_class.pk,
        competition_slug=competition.slug,
        competition_title=competition.title,
        venue=competition.venue,
        zone=competition.zone,
        number=competition_class.number,
        title=competition_class.title,
        level=competition_class.level,
        division=competition_class.division,
        test_title=competition_class.test.title,
        rules_title=competition_class.rule_set.title,
        rules_key=competition_class.rule_set.key,
        arena=competition_class.arena,
        date=competition_class.date,
        version=competition_class.version,
        revision=published.revision if published else competition_class.revision,
        state=competition_class.results_state,
        correcting=bool(competition_class.correction_reason),
        published_at=published.published_at if published else None,
        changed_at=competition_class.changed_at,
        seats=tuple(
            SeatColumn(seat.seat, seat.judge.name if seat.judge else "", tuple(seat.parts))
            for seat in competition_class.seats.select_related("judge")
        ),
        rows=tuple(rows),
        in_ring=_coming(by_id[competition_class.in_ring_id])
        if (by_id := {entry.pk: entry for entry in entries}) and competition_class.in_ring_id in by_id
        else None,
        to_come=tuple(_coming(entry) for entry in _not_started(entries, competition_class.in_ring_id)),
        teams=tuple(
            TeamRow(team["team"], team["placing"], team["value"], tuple(team["counting"]))
            for team in document.get("teams") or []
        ),
        penalty=competition_class.rule_set.document.get("penalty") is not None,
        problem="" if published or not results else results.problem,
        team_rules=published.class_document.get("teams") if published else competition_class.team_rules,
    )


def board_etag(class_id: int, version: int) -> str:
    """Return the strong entity tag of everything public that is shown of a class at one version."""
    return f'"class-{class_id}-{version}"'


def _entries(competition_class: CompetitionClass) -> list[Entry]:
    return list(
        competition_class.entries.select_related("pair__rider", "pair__horse__owner").order_by("order", "number", "pk")
    )


def _not_started(entries: Iterable[Entry], in_ring: int | None) -> list[Entry]:
    return [entry for entry in entries if entry.status == Entry.Status.ENTERED and entry.pk != in_ring]


def _coming(entry: Entry) -> Coming:
    return Coming(entry.pk, entry.number, entry.pair.rider.name, entry.pair.horse.name, entry.ride_time, entry.order)


def _row(entry: Entry, document: Mapping[str, Any]) -> BoardRow:
    horse = entry.pair.horse
    return BoardRow(
        entry_id=entry.pk,
        pair_id=entry.pair_id,
        number=entry.number,
        rider=entry.pair.rider.name,
        horse=horse.name,
        owner=horse.owner.name if horse.owner else "",
        team=entry.team,
        status=document["status"],
        reason=document["reason"] or entry.status_reason,
        hors_concours=document["hors_concours"],
        placing=document["placing"],
        shared=document["shared"],
        total=document["total"],
        points=document["points"],
        penalty=document["penalty"],
        so_far=document["so_far"],
        seats={
            seat: SeatCell(cell["points"], cell["percentage"], cell["place"], cell["adjusted_to"])
            for seat, cell in (document["sheets"] or {}).items()
        },
        parts=document["parts"] or {},
        collectives=document["collectives"],
        tie=document["tie"],
        working=tuple(document["working"]),
        ride_time=entry.ride_time,
    )
