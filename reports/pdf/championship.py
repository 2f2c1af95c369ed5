"""A championship over several classes, in the manner of a result list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from reports.pdf.heads import dotted
from reports.pdf.ink import BODY, EARTH, NOTE, REASON, RUNNING, SMALL, SOFT, day, moment
from reports.pdf.lists import DASH, Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Aside, Frames, Masthead, build_closest, first_page
from reports.pdf.text import BOLD, OBLIQUE, SANS, paragraph

_WIDE_FROM_CLASSES = 6
_MOST_COLUMNS = 12
_PLACE_WIDTH, _VALUE_WIDTH = 34.0, 66.0
_CLASS_ROOM = 62.0
_NAME = Ink(BOLD, BODY)
_BELOW = Ink(SANS, BODY - 0.4, SOFT)
_SMALL = Ink(SANS, SMALL - 0.2, SOFT)
_WHY = Ink(OBLIQUE, SMALL, EARTH)
_VALUE = Ink(BOLD, BODY + 0.6)
_PLACE = Ink(BOLD, BODY + 1.4)


@dataclass(frozen=True, slots=True)
class CellWords:
    """The figure of one class, and a word where it is not simply that (not counted, eliminated)."""

    figure: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceLine:
    """One pair, rider or horse; ``below`` is the horse of a pair."""

    name: str
    below: str = ""
    placing: int | None = None
    shared: bool = False
    value: str | None = None
    cells: tuple[CellWords, ...] = ()
    tie: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TeamPlace:
    """One team: ``cells`` by class, or a few words for each of its ``members``."""

    team: str
    placing: int | None = None
    shared: bool = False
    value: str | None = None
    cells: tuple[CellWords, ...] = ()
    members: tuple[str, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChampionshipData:
    """``columns`` head the figures of the classes; ``classes`` says of each what it is and how its results stand."""

    competition: str
    venue: str
    zone: str
    title: str
    starts_on: date
    ends_on: date
    address: str
    state: str
    as_of: datetime | None
    unit: str
    value_title: str
    columns: tuple[str, ...]
    classes: tuple[str, ...]
    lines: tuple[PlaceLine, ...]
    teams: tuple[TeamPlace, ...] = ()
    rule: str = ""
    sources: str = ""
    problem: str = ""

    @property
    def foot(self) -> str:
        return f"{self.competition} · {self.title}"

    @property
    def tag(self) -> str:
        return "Official places" if self.state == "official" else "Provisional places"

    @property
    def when(self) -> str:
        return f"As of {moment(self.as_of, zone=self.zone)}" if self.as_of else ""

    @property
    def days(self) -> str:
        if self.starts_on == self.ends_on:
            return day(self.starts_on)
        return f"{day(self.starts_on)} to {day(self.ends_on)}"


def build(data: ChampionshipData) -> bytes:
    """Print the places: A4 upright, or lying where there are six classes or more; of many, figures stand in words."""
    if len(data.columns) > _MOST_COLUMNS:
        data = _in_words(data)
    frames = Frames(
        title=f"Championship: {data.foot}",
        author=data.competition,
        foot=data.foot,
        stamp=f"{data.tag}. {data.when}.",
        wide=len(data.columns) >= _WIDE_FROM_CLASSES,
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _in_words(data: ChampionshipData) -> ChampionshipData:
    """Put the figures under the names, where the classes are more than there is room for beside each other."""

    def told(cells: Sequence[CellWords]) -> str:
        notes = (f" ({cell.note})" if cell.note else "" for cell in cells)
        found = zip(data.columns, cells, notes, strict=True)
        return dotted(f"{title} {cell.figure}{note}" for title, cell, note in found if cell.figure)

    lines = tuple(replace(line, below=dotted((line.below, told(line.cells))), cells=()) for line in data.lines)
    teams = tuple(
        replace(team, reason=dotted((team.reason, told(team.cells))), cells=()) if team.cells else team
        for team in data.teams
    )
    return replace(data, columns=(), lines=lines, teams=teams)


def _story(data: ChampionshipData, frames: Frames, pad: float) -> list[Flowable]:
    width = frames.width
    aside = Aside(address=data.address, caption="Championship") if data.address else None
    facts = (dotted((data.venue, data.days)),)
    tag = dotted((data.tag, data.when))
    story: list[Flowable] = [
        *first_page(f"Championship · {data.foot} · {data.tag}"),
        Masthead(dotted((data.competition, "Championship")), data.title, facts, width, tag, aside),
        Spacer(0, 8),
    ]
    if data.problem:
        story += [paragraph(("bold", "The places cannot be worked out."), data.problem, style=RUNNING), Spacer(0, 6)]
    story.append(_places(data, width, pad))
    if data.teams:
        story += [Spacer(0, 14), CondPageBreak(90), _teams(data, width, pad)]
    return [*story, Spacer(0, 10), KeepTogether(_closing(data))]


def _columns(data: ChampionshipData, width: float, *, title: str, value: str) -> list[Column]:
    across = min(_CLASS_ROOM, (width - _PLACE_WIDTH - _VALUE_WIDTH) * 0.72 / max(1, len(data.columns)))
    names = width - _PLACE_WIDTH - _VALUE_WIDTH - across * len(data.columns)
    return [
        Column(title="Place", width=_PLACE_WIDTH, align="centre"),
        Column(title=title, width=names),
        *(Column(title=found, width=across, align="right") for found in data.columns),
        Column(title=value, width=_VALUE_WIDTH, align="right"),
    ]


def _places(data: ChampionshipData, width: float, pad: float) -> RowList:
    title = "Rider and horse" if data.unit == "pair" else data.unit.capitalize()
    columns = _columns(data, width, title=title, value=data.value_title)
    if not data.lines:
        return RowList(columns, [heading("No places yet", width=width - 6)])
    rows: list[Row] = []
    for index, line in enumerate(data.lines):
        if line.placing is None and (index == 0 or data.lines[index - 1].placing is not None):
            rows.append(heading("Without a place", width=width - 6))
        rows.append(_row(line, columns, pad))
    return RowList(columns, rows)


def _row(line: PlaceLine, columns: Sequence[Column], pad: float) -> Row:
    room = columns[1].room
    who = (
        *words(line.name, width=room, ink=_NAME),
        *words(line.below, width=room, ink=_BELOW),
        *words(line.reason, width=room, ink=_WHY),
        *words(line.tie, width=room, ink=_WHY),
    )
    return Row(
        cells=(
            figure(_placing(line), ink=_PLACE),
            who,
            *(_cell(found, column.room) for found, column in zip(line.cells, columns[2:-1], strict=True)),
            figure(line.value or "", ink=_VALUE),
        ),
        pad=pad,
        shaded=line.placing == 1,
    )


def _placing(line: PlaceLine | TeamPlace) -> str:
    if line.placing is None:
        return ""
    return f"{line.placing}=" if line.shared else str(line.placing)


def _cell(found: CellWords, room: float) -> Cell:
    return (
        *figure(found.figure or DASH, ink=None if found.figure else _SMALL),
        *words(found.note, width=room, ink=_SMALL),
    )


def _teams(data: ChampionshipData, width: float, pad: float) -> RowList:
    of_members = any(team.members for team in data.teams)
    if of_members:
        names = (width - _PLACE_WIDTH - _VALUE_WIDTH) * 0.42
        columns = [
            Column(title="Place", width=_PLACE_WIDTH, align="centre"),
            Column(title="Team", width=names),
            Column(title="Members", width=width - _PLACE_WIDTH - _VALUE_WIDTH - names),
            Column(title="Value", width=_VALUE_WIDTH, align="right"),
        ]
    else:
        columns = _columns(data, width, title="Team", value="Value")
    rows = [_team(team, columns, pad, of_members=of_members) for team in data.teams]
    return RowList(columns, [heading("Teams", width=width - 6), *rows])


def _team(team: TeamPlace, columns: Sequence[Column], pad: float, *, of_members: bool) -> Row:
    room = columns[1].room
    middle: tuple[Cell, ...]
    if of_members:
        middle = (tuple(line for member in team.members for line in words(member, width=columns[2].room)),)
    else:
        middle = tuple(_cell(found, column.room) for found, column in zip(team.cells, columns[2:-1], strict=True))
    who = (*words(team.team, width=room, ink=_NAME), *words(team.reason, width=room, ink=_WHY))
    return Row(cells=(figure(_placing(team), ink=_PLACE), who, *middle, figure(team.value or "", ink=_VALUE)), pad=pad)


def _closing(data: ChampionshipData) -> list[Flowable]:
    flowables: list[Flowable] = [
        paragraph(("bold", "Classes:"), f"{'; '.join(data.classes)}.", style=RUNNING),
        paragraph(("bold", "Rule:"), data.rule or "it cannot be told.", style=RUNNING),
    ]
    if data.sources:
        flowables.append(paragraph(f"Source of the rule: {data.sources}.", style=NOTE))
    if any(line.shared for line in data.lines) or any(team.shared for team in data.teams):
        flowables.append(paragraph("= marks a shared place.", style=NOTE))
    flowables.append(paragraph(f"Issued by the show office of {data.competition}. {data.when}.", style=REASON))
    return flowables
