"""The result list of a class, as posted on the wall and handed to the riders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from reports.pdf.heads import ClassHead, dotted
from reports.pdf.ink import BODY, EARTH, NOTE, REASON, RUNNING, SMALL, SOFT, moment
from reports.pdf.lists import DASH, EMPTY, Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Frames, build_closest, first_page
from reports.pdf.text import BOLD, OBLIQUE, SANS, paragraph

_STATUS_TITLES = {
    "eliminated": "Eliminated",
    "retired": "Retired",
    "withdrawn": "Withdrawn",
    "no-show": "No-show",
    "running": "Still to be completed",
}
_WIDE_FROM_FIGURES = 5
_SEAT_WIDTH = 56.0
_PART_WIDTH = 52.0
_NAME = Ink(BOLD, BODY)
_HORSE = Ink(SANS, BODY - 0.4, SOFT)
_SMALL = Ink(SANS, SMALL - 0.2, SOFT)
_WHY = Ink(OBLIQUE, SMALL, EARTH)
_TOTAL = Ink(BOLD, BODY + 0.6)
_PLACE = Ink(BOLD, BODY + 1.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatFigures:
    """What one seat gave, as published text; ``adjusted_to`` where the rule set moved an outlier."""

    points: str | None = None
    percentage: str | None = None
    place: int | None = None
    adjusted_to: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultLine:
    number: str
    rider: str
    horse: str
    status: str = "completed"
    reason: str = ""
    team: str = ""
    hors_concours: bool = False
    placing: int | None = None
    shared: bool = False
    total: str | None = None
    points: str | None = None
    penalty: str | None = None
    so_far: str | None = None
    seats: Mapping[str, SeatFigures] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)
    tie: str = ""
    working: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TeamLine:
    """``counting`` has a few words for each entry that counts."""

    team: str
    placing: int | None
    value: str | None
    counting: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultsData:
    """``seats`` are (letter, judge); ``state`` is provisional, official or withdrawn; ``rule`` is plain sentences.

    ``parts`` name those that the totals are put together from, such as technical and artistic.
    """

    head: ClassHead
    state: str
    revision: int
    correcting: bool
    published_at: datetime | None
    seats: tuple[tuple[str, str], ...]
    lines: tuple[ResultLine, ...]
    teams: tuple[TeamLine, ...] = ()
    parts: tuple[str, ...] = ()
    penalty: bool = False
    rules_title: str = ""
    rule: str = ""
    problem: str = ""

    @property
    def figures(self) -> int:
        """Number of columns with the figure of a seat or of a part."""
        return len(self.seats) + len(self.parts)

    @property
    def tag(self) -> str:
        if self.state == "official":
            return f"Official results, revision {self.revision}" + (", correction under way" if self.correcting else "")
        return "Results withdrawn" if self.state == "withdrawn" else "Provisional results"

    @property
    def when(self) -> str:
        if self.state == "official" and self.published_at:
            return f"Official since {moment(self.published_at, zone=self.head.zone)}"
        return f"As of {moment(self.head.changed_at, zone=self.head.zone)}"


def build(data: ResultsData) -> bytes:
    """Print the result list: A4 upright, or lying where seats and parts have five columns or more."""
    frames = Frames(
        title=f"Results: {data.head.foot}",
        author=data.head.competition,
        foot=data.head.foot,
        stamp=data.head.stamp(data.tag),
        wide=data.figures >= _WIDE_FROM_FIGURES,
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: ResultsData, frames: Frames, pad: float) -> list[Flowable]:
    width = frames.width
    story: list[Flowable] = [
        *first_page(f"Results · {data.head.foot} · {data.tag}"),
        data.head.masthead(kind="Results", width=width, tag=f"{data.tag} · {data.when}", caption="Board of the class"),
        Spacer(0, 8),
    ]
    if data.problem:
        story += [paragraph(("bold", "These results are not complete."), data.problem, style=RUNNING), Spacer(0, 6)]
    story.append(_list(data, width, pad))
    if data.teams:
        story += [Spacer(0, 14), CondPageBreak(90), _teams(data, width)]
    return [*story, Spacer(0, 10), KeepTogether(_closing(data))]


def _list(data: ResultsData, width: float, pad: float) -> RowList:
    columns = _columns(data, width)
    if not data.lines:
        return RowList(columns, [heading("No results yet", width=width - 6)])
    rows, group = [], ""
    for line in data.lines:
        title = _group(line)
        if title != group:
            rows.append(heading(title, width=width - 6))
        group = title
        rows.append(_row(line, data, columns, pad))
    return RowList(columns, rows)


def _group(line: ResultLine) -> str:
    """Placed entries stand under no heading; the others under what they have in common."""
    if line.placing is not None:
        return ""
    if line.status == "completed":
        return "Hors concours" if line.hors_concours else "Without a place"
    return _STATUS_TITLES.get(line.status, line.status)


def _columns(data: ResultsData, width: float) -> list[Column]:
    points = [Column(title="Points", width=46, align="decimal", decimals=1)] if _has_points(data) else []
    penalty = [Column(title="Penalty", width=44, align="right")] if data.penalty else []
    parts = [Column(title=f"{part.capitalize()} %", width=_PART_WIDTH, align="right") for part in data.parts]
    tail = [*parts, *points, Column(title="Total %", width=56, align="right"), *penalty]
    names = width - 34 - 36 - len(data.seats) * _SEAT_WIDTH - sum(column.width for column in tail)
    return [
        Column(title="Place", width=34, align="centre"),
        Column(title="No.", width=36, align="right", gap=9),
        *_name_columns(data, names),
        *(column for seat, _ in data.seats for column in _seat_columns(data, f"{seat} %")),
        *tail,
    ]


def _side_by_side(data: ResultsData) -> bool:
    """Whether rider, horse and each place have columns of their own, so that an entry takes one line."""
    return data.figures == _WIDE_FROM_FIGURES


def _name_columns(data: ResultsData, width: float) -> list[Column]:
    if _side_by_side(data):
        return [Column(title="Rider", width=width * 0.56), Column(title="Horse", width=width * 0.44)]
    return [Column(title="Rider and horse", width=width)]


def _seat_columns(data: ResultsData, title: str) -> list[Column]:
    if _side_by_side(data):
        return [
            Column(title=title, width=_SEAT_WIDTH - 18, align="right", gap=4),
            Column(title="", width=18, gap=2),
        ]
    return [Column(title=title, width=_SEAT_WIDTH, align="right")]


def _has_points(data: ResultsData) -> bool:
    """Whether points mean anything: those of parts that weigh differently cannot be added up."""
    return not data.parts and any(line.points for line in data.lines)


def _row(line: ResultLine, data: ResultsData, columns: Sequence[Column], pad: float) -> Row:
    cells = [
        figure(_placing(line), ink=_PLACE),
        figure(line.number, ink=Ink(SANS, BODY + 0.4, SOFT)),
        *_who(line, [column.room for column in columns[2 : 2 + len(_name_columns(data, 0))]]),
        *(cell for seat, _ in data.seats for cell in _seat(line.seats.get(seat), data)),
    ]
    cells += [figure(line.parts.get(part, "")) for part in data.parts]
    if _has_points(data):
        cells.append(figure(line.points or ""))
    cells.append(_total(line, ink=Ink() if data.penalty else _TOTAL))
    if data.penalty:
        cells.append(figure(line.penalty or "", ink=_TOTAL))
    return Row(cells=tuple(cells), pad=pad, shaded=line.placing == 1)


def _placing(line: ResultLine) -> str:
    if line.placing is None:
        return ""
    return f"{line.placing}=" if line.shared else str(line.placing)


def _who(line: ResultLine, rooms: Sequence[float]) -> list[Cell]:
    apart = line.hors_concours and _group(line) != "Hors concours"
    notes = dotted((f"team {line.team}" if line.team else "", "hors concours" if apart else ""))
    rider = words(line.rider, width=rooms[0], ink=_NAME)
    why = (*words(line.reason, width=rooms[0], ink=_WHY), *words(line.tie, width=rooms[0], ink=_WHY))
    if len(rooms) > 1:
        return [
            (*rider, *words(notes, width=rooms[0], ink=_SMALL), *why),
            words(line.horse, width=rooms[1], ink=_HORSE),
        ]
    below = words(dotted((line.horse, notes)), width=rooms[0], ink=_HORSE)
    if len(below) > 1:
        below = (*words(line.horse, width=rooms[0], ink=_HORSE), *words(notes, width=rooms[0], ink=_SMALL))
    return [(*rider, *below, *why)]


def _seat(given: SeatFigures | None, data: ResultsData) -> list[Cell]:
    apart, alone = _side_by_side(data), len(data.seats) == 1
    if given is None or given.percentage is None:
        return [figure(DASH, ink=_SMALL), EMPTY] if apart else [figure(DASH, ink=_SMALL)]
    place = figure(f"({given.place})" if given.place and not alone else "", ink=_SMALL)
    moved = figure(f"→ {given.adjusted_to}", ink=_SMALL) if given.adjusted_to else EMPTY
    shown = (*figure(given.percentage), *moved)
    return [shown, place] if apart else [(*shown, *place)]


def _total(line: ResultLine, *, ink: Ink) -> Cell:
    if line.total is not None:
        return figure(line.total, ink=ink)
    if line.so_far is not None:
        return (*figure(line.so_far), *figure("so far", ink=_SMALL))
    return EMPTY


def _teams(data: ResultsData, width: float) -> RowList:
    columns = [
        Column(title="Place", width=34, align="centre"),
        Column(title="Team", width=(width - 34 - 66) * 0.45),
        Column(title="Counting entries", width=(width - 34 - 66) * 0.55),
        Column(title="Value", width=66, align="right"),
    ]
    rows = [
        Row(
            cells=(
                figure("" if team.placing is None else team.placing, ink=_PLACE),
                words(team.team, width=columns[1].room, ink=_NAME),
                tuple(line for member in team.counting for line in words(member, width=columns[2].room)),
                figure(team.value or "", ink=_TOTAL),
            )
        )
        for team in data.teams
    ]
    return RowList(columns, [heading("Teams", width=width - 6), *rows])


def _closing(data: ResultsData) -> list[Flowable]:
    judges = [f"{seat} {judge}" if judge else seat for seat, judge in data.seats]
    many = len(judges) > 1
    notes = ["A figure in brackets is the place under that judge alone."] if many else []
    if any(line.shared for line in data.lines):
        notes.append("= marks a shared place.")
    if any(seat.adjusted_to for line in data.lines for seat in line.seats.values()):
        notes.append(
            "→ gives the percentage that counted after the rule set moved a sheet that stood far from the others."
        )
    flowables: list[Flowable] = [
        paragraph(("bold", "Judges:" if many else "Judge:"), dotted(judges) or "not named", style=RUNNING),
        paragraph(("bold", "Rule set:"), data.rules_title, style=RUNNING),
    ]
    if data.rule:
        flowables.append(paragraph(data.rule, style=NOTE))
    if notes:
        flowables.append(paragraph(" ".join(notes), style=NOTE))
    flowables.append(paragraph(f"Issued by the show office of {data.head.competition}. {data.when}.", style=REASON))
    return flowables
