"""The running order of a class: for the gate, the judges' tables and the riders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from reportlab.platypus import Flowable, Spacer

from reports.pdf.heads import ClassHead, dotted
from reports.pdf.ink import BODY, NOTE, RUNNING, SMALL, SOFT, clock
from reports.pdf.lists import EMPTY, Column, Ink, Row, RowList, figure, heading, words
from reports.pdf.page import Frames, build_closest, first_page
from reports.pdf.text import BOLD, OBLIQUE, SANS, paragraph


@dataclass(frozen=True, slots=True, kw_only=True)
class RideLine:
    """A ride of the order; ``pause_minutes`` is the break after it."""

    order: int | None
    ride_time: datetime | None
    number: str
    rider: str
    horse: str
    owner: str = ""
    team: str = ""
    status: str = ""
    hors_concours: bool = False
    pause_minutes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningOrderData:
    head: ClassHead
    judges: tuple[tuple[str, str], ...]
    rides: tuple[RideLine, ...]
    interval_seconds: int


def build(data: RunningOrderData) -> bytes:
    """Print the running order, with a box to tick as each pair goes in."""
    frames = Frames(
        title=f"Running order: {data.head.foot}",
        author=data.head.competition,
        foot=data.head.foot,
        stamp=data.head.stamp("Running order"),
    )
    return build_closest(lambda pad: _story(data, frames, pad), frames=frames)


def _story(data: RunningOrderData, frames: Frames, pad: float) -> list[Flowable]:
    judges = dotted(f"{seat} {judge}" if judge else seat for seat, judge in data.judges)
    zone = f"Times in {data.head.zone}."
    return [
        *first_page(f"Running order · {data.head.foot}"),
        data.head.masthead(kind="Running order", width=frames.width, tag=_tag(data), caption="Board of the class"),
        Spacer(0, 8),
        RowList(_columns(frames.width), _rows(data, frames.width, pad)),
        Spacer(0, 10),
        paragraph(("bold", "Judges:" if len(data.judges) > 1 else "Judge:"), judges or "not named", style=RUNNING),
        paragraph(f"{zone} {_pace(data)} Times may move: the board shows the order as it stands.", style=NOTE),
    ]


def _tag(data: RunningOrderData) -> str:
    starting = sum(1 for ride in data.rides if ride.status not in {"withdrawn", "no-show"})
    first = next((ride.ride_time for ride in data.rides if ride.ride_time), None)
    counted = f"{starting} starter" if starting == 1 else f"{starting} starters"
    return f"{counted}, first ride {clock(first, zone=data.head.zone)}" if first else counted


def _pace(data: RunningOrderData) -> str:
    minutes, seconds = divmod(data.interval_seconds, 60)
    return f"{minutes} min {seconds} s from ride to ride." if seconds else f"{minutes} minutes from ride to ride."


def _columns(width: float) -> list[Column]:
    names = width - 44 - 30 - 40 - 26
    return [
        Column(title="Time", width=44),
        Column(title="Order", width=30, align="right", gap=8),
        Column(title="No.", width=40, align="right", gap=12),
        Column(title="Rider", width=names * 0.36),
        Column(title="Horse", width=names * 0.33),
        Column(title="Owner or team", width=names * 0.31),
        Column(title="In", width=26, align="centre"),
    ]


def _rows(data: RunningOrderData, width: float, pad: float) -> list[Row]:
    columns = _columns(width)
    if not data.rides:
        return [heading("No entries yet", width=width - 6)]
    rows: list[Row] = []
    for ride in data.rides:
        rows.append(_row(ride, data, columns, pad))
        if ride.pause_minutes:
            rows.append(heading(f"Break, {ride.pause_minutes} minutes", width=width - 6))
    while rows[-1].heading:
        rows.pop()
    return rows


def _row(ride: RideLine, data: RunningOrderData, columns: list[Column], pad: float) -> Row:
    out = ride.status in {"withdrawn", "no-show"}
    soft = Ink(SANS, BODY - 0.4, SOFT)
    note = Ink(OBLIQUE, SMALL, SOFT)
    notes = dotted((ride.status if out else "", "hors concours" if ride.hors_concours else ""))
    team = f"team {ride.team}" if ride.team else ""
    owner = "" if ride.owner == ride.rider else ride.owner
    return Row(
        cells=(
            figure(
                "" if out or not ride.ride_time else clock(ride.ride_time, zone=data.head.zone), ink=Ink(BOLD, BODY + 1)
            ),
            figure("" if ride.order is None else ride.order, ink=soft),
            figure(ride.number, ink=Ink(SANS, BODY + 1)),
            (
                *words(ride.rider, width=columns[3].room, ink=soft if out else Ink(BOLD, BODY)),
                *words(notes, width=columns[3].room, ink=note),
            ),
            words(ride.horse, width=columns[4].room, ink=soft if out else Ink()),
            (*words(owner, width=columns[5].room, ink=soft), *words(team, width=columns[5].room, ink=soft)),
            EMPTY if out else figure("□", ink=Ink(SANS, BODY + 1, SOFT)),
        ),
        pad=pad,
    )
