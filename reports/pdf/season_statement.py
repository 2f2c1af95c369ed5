"""One pair's season under one scheme: what counts and why, what is missing, and the rule in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from reports.pdf.heads import dotted
from reports.pdf.ink import BODY, EARTH, NOTE, REASON, RUNNING, SMALL, SOFT, day, moment
from reports.pdf.lists import DASH, Cell, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Aside, Frames, Masthead, build_closest, first_page
from reports.pdf.text import BOLD, OBLIQUE, SANS, paragraph

_OUTCOMES = (("counted", "Counted"), ("dropped", "Not counted"), ("not eligible", "Not eligible"))


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementLine:
    """``have`` and ``need`` as text; ``words`` what has to be counted."""

    words: str
    have: str
    need: str
    met: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TableStanding:
    """The pair's row in one table of the season; ``rows`` is how many stand in that table."""

    group: str
    placing: int | None
    shared: bool
    value: str
    qualified: bool
    rows: int
    tier: str = ""
    requirements: tuple[RequirementLine, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreLine:
    """A score of the season; ``outcome`` is counted, dropped or not eligible, and ``sentence`` says why."""

    date: date
    competition: str
    class_name: str
    test: str
    judges: tuple[str, ...]
    percentage: str
    placing: int | None
    starters: int | None
    outcome: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonStatementData:
    """``as_of`` is when the standings were last worked out, ``rule`` the scheme in sentences."""

    association: str
    season: str
    starts_on: date
    ends_on: date
    closed: bool
    version: int
    as_of: datetime | None
    rider: str
    horse: str
    scheme: str
    tables: tuple[TableStanding, ...]
    scores: tuple[ScoreLine, ...]
    rule: tuple[str, ...]

    @property
    def when(self) -> str:
        return f"As of {moment(self.as_of, zone='UTC')}" if self.as_of else "Standings not worked out yet"


def build(data: SeasonStatementData) -> bytes:
    """Print the statement on A4."""
    frames = Frames(
        title=f"Season statement: {data.rider} with {data.horse}, {data.season}",
        author=data.association,
        foot=dotted((data.association, data.season, f"{data.rider} with {data.horse}")),
        stamp=f"{data.when}. Version {data.version} of the standings.",
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: SeasonStatementData, frames: Frames, pad: float) -> list[Flowable]:
    width = frames.width
    story: list[Flowable] = [*first_page(frames.title), _masthead(data, width), Spacer(0, 7)]
    if not data.tables:
        story.append(paragraph("This pair stands in no table of the season.", style=RUNNING))
    for table in data.tables:
        story += _table(table, width, alone=len(data.tables) == 1)
    story += [Spacer(0, 6), _scores(data, width, pad), Spacer(0, 10), CondPageBreak(70)]
    story += [paragraph(("bold", "How the season is counted"), style=RUNNING), paragraph(data.scheme, style=REASON)]
    story += [paragraph(sentence, style=NOTE) for sentence in data.rule]
    return story


def _masthead(data: SeasonStatementData, width: float) -> Masthead:
    facts = [data.horse, f"{data.season}: {day(data.starts_on)} to {day(data.ends_on)}"]
    tag = dotted((data.when, "season closed" if data.closed else ""))
    aside = None
    if len(data.tables) == 1 and data.tables[0].value:
        aside = Aside(figure=data.tables[0].value, caption=_standing(data.tables[0]))
    return Masthead(dotted((data.association, "Season statement")), data.rider, facts, width, tag, aside)


def _standing(table: TableStanding) -> str:
    if table.placing is not None:
        shared = "shared place" if table.shared else "place"
        return f"{shared} {table.placing} of {table.rows}"
    if table.tier:
        return f"reached: {table.tier}"
    return "requirements met" if table.qualified else "requirements not met yet"


def _table(table: TableStanding, width: float, *, alone: bool) -> list[Flowable]:
    value = f"value {table.value}" if table.value and not alone else ""
    missing = [line for line in table.requirements if not line.met]
    story: list[Flowable] = [
        paragraph(("bold", f"{table.group}:"), dotted((_standing(table), value)), style=RUNNING),
        paragraph(_missing(missing, table), style=RUNNING),
    ]
    if table.requirements:
        story += [Spacer(0, 4), _requirements(table.requirements, width)]
    return [KeepTogether(story), Spacer(0, 8)]


def _missing(missing: Sequence[RequirementLine], table: TableStanding) -> str:
    if missing:
        named = "; ".join(f"{line.words} ({line.have} of {line.need})" for line in missing)
        return f"Still missing: {named}."
    if table.requirements:
        return "Every requirement is met."
    return "The scheme sets no further requirements." if table.qualified else "Not qualified yet."


def _requirements(lines: Sequence[RequirementLine], width: float) -> RowList:
    columns = [
        Column(title="Requirement", width=width - 150),
        Column(title="So far", width=50, align="right"),
        Column(title="Needed", width=50, align="right"),
        Column(title="", width=50, align="right"),
    ]
    rows = [
        Row(
            cells=(
                words(line.words, width=columns[0].room),
                figure(line.have),
                figure(line.need),
                figure(
                    "met" if line.met else "missing",
                    ink=Ink(SANS if line.met else BOLD, SMALL, SOFT if line.met else EARTH),
                ),
            ),
            pad=2,
        )
        for line in lines
    ]
    return RowList(columns, rows)


def _scores(data: SeasonStatementData, width: float, pad: float) -> RowList:
    columns = [
        Column(title="Date", width=76),
        Column(title="Competition, class, judges", width=width - 76 - 50 - 56 - 168),
        Column(title="Place", width=50, align="right", gap=8),
        Column(title="%", width=56, align="right", gap=12),
        Column(title="Why", width=168),
    ]
    rows: list[Row] = []
    for outcome, title in _OUTCOMES:
        lines = [line for line in data.scores if line.outcome == outcome]
        if lines:
            rows.append(heading(f"{title}: {len(lines)}", width=width - 6))
            rows += [_score(line, columns, pad) for line in lines]
    return RowList(columns, rows or [heading("No scores in this season yet", width=width - 6)])


def _score(line: ScoreLine, columns: Sequence[Column], pad: float) -> Row:
    room = columns[1].room
    place = "" if line.placing is None else f"{line.placing} of {line.starters}" if line.starters else str(line.placing)
    soft, small = Ink(SANS, BODY - 0.4, SOFT), Ink(SANS, SMALL, SOFT)
    counted = line.outcome == "counted"
    where: Cell = (
        *words(line.competition, width=room, ink=Ink(BOLD if counted else SANS, BODY)),
        *words(dotted((line.class_name, line.test)), width=room, ink=soft),
        *words(", ".join(line.judges), width=room, ink=small),
    )
    return Row(
        cells=(
            figure(f"{line.date.day} {line.date:%b %Y}"),
            where,
            figure(place, ink=soft),
            figure(line.percentage or DASH, ink=Ink(BOLD if counted else SANS, BODY + 0.6)),
            words(line.sentence, width=columns[4].room, ink=Ink(OBLIQUE, SMALL + 0.2, SOFT)),
        ),
        pad=pad,
    )
