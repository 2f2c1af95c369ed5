"""Invented data for the documents, in several shapes: few and many judges, entries, words."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from reports.pdf.heads import ClassHead
from reports.pdf.results import ResultLine, ResultsData, SeatFigures, TeamLine
from reports.pdf.running_order import RideLine, RunningOrderData

SEATS = ("C", "H", "B", "E", "M", "K", "F")
JUDGES = (
    "Marguerite Sauvignac",
    "Tamás Keresztúri",
    "Łucja Żbikowska",
    "Þórdís Ægisdóttir",
    "Ольга Жаворонкова",
    "Ιωάννα Καρυπίδη",
    "Şebnem Gündoğdu",
)
RIDERS = ("Joséphine Carcassès", "Tobias Oberlechner", "Mădălina Țurcașu", "Rosalind Achterberg", "Őrsi Fűzfa", "Łukasz Dębowy")
HORSES = ("Plume d'Avoine", "Gimlet Rose", "Bellwether Down", "Figwort", "Żar Zachodu", "Сирень")
HOSTILE = (
    "<b>bold",
    '<img src="/etc/hostname" width="9" height="9"/>',
    '<font size="400">huge</font>',
    "&amp; &nbsp; A < B > C",
    "Zo\u0308e " + "Maximiliane-Theodora " * 15,
    "W" * 300,
    "אבגד עברית",
    "اسم عربي",
    "😀🐴 李小龍",
    "tab\there\x00null\x07bell",
    "\u202eright to left\u202c",
    "\ud800half",
    "e\u0301\u0302\u0303\u0304\u0305",
    "",
)
MORNING = datetime(2026, 11, 14, 8, 0, tzinfo=UTC)


def class_head(**changes: object) -> ClassHead:
    fields: dict[str, object] = {
        "competition": "Mirefell November Days",
        "venue": "Mirefell Riding Ground",
        "zone": "Europe/Vienna",
        "number": "4",
        "title": "Larkfield Elementary 2",
        "test": "Larkfield Elementary 2",
        "division": "open",
        "arena": "B",
        "date": date(2026, 11, 14),
        "version": 37,
        "changed_at": datetime(2026, 11, 14, 14, 42, tzinfo=UTC),
        "address": "http://127.0.0.1:8000/competitions/mirefell-2026-11/4/",
    }
    return ClassHead(**(fields | changes))  # type: ignore[arg-type]


def percentage(index: int, step: int) -> str:
    thousandths = 78_500 - index * 613 + (step * 1_371 + index * 877) % 2_900
    return f"{thousandths // 1000}.{thousandths % 1000:03d}"


def result_line(index: int, *, seats: int, **changes: object) -> ResultLine:
    fields: dict[str, object] = {
        "number": str(10 + index),
        "rider": RIDERS[index % len(RIDERS)],
        "horse": HORSES[index % len(HORSES)],
        "placing": index + 1,
        "total": percentage(index, 0),
        "points": f"{230 - index}.5" if index % 2 else f"{230 - index}",
        "seats": {
            SEATS[n]: SeatFigures(points="230", percentage=percentage(index, n), place=(index + n * 3) % 11 + 1)
            for n in range(seats)
        },
    }
    return ResultLine(**(fields | changes))  # type: ignore[arg-type]


def results(*, seats: int = 3, entries: int = 12, teams: bool = False, others: bool = True, **changes: object) -> ResultsData:
    lines = [result_line(index, seats=seats) for index in range(entries)]
    if others:
        lines += [
            result_line(entries, seats=seats, placing=None, hors_concours=True),
            result_line(
                entries + 1, seats=0, placing=None, total=None, points=None, status="eliminated",
                reason="third error of course",
            ),
            result_line(entries + 2, seats=0, placing=None, total=None, points=None, status="retired", reason="horse unlevel"),
            result_line(entries + 3, seats=0, placing=None, total=None, points=None, status="withdrawn"),
            result_line(
                entries + 4, seats=1, placing=None, total=None, points=None, status="running", so_far="66.250"
            ),
        ]  # fmt: skip
    fields: dict[str, object] = {
        "head": class_head(),
        "state": "provisional",
        "revision": 0,
        "correcting": False,
        "published_at": None,
        "seats": tuple(zip(SEATS[:seats], JUDGES[:seats], strict=True)),
        "lines": tuple(lines),
        "teams": (
            TeamLine("Green", 1, "212.430", ("12", "15", "9")),
            TeamLine("Mirefell Riding Club", 2, "209.112", ("10", "11", "14")),
            TeamLine("Harrow Bank", None, None, ("16",)),
        )
        if teams
        else (),
        "rules_title": "Points off for errors, collective marks decide",
        "rule": "Each judge's percentage is rounded to 3 decimals; the total is their mean, rounded to 3 decimals. The "
        "first error of course costs 2 points on every sheet, the second 4, the third eliminates. Equal totals: the higher "
        "collective marks win.",
    }
    return ResultsData(**(fields | changes))  # type: ignore[arg-type]


def running_order(*, rides: int = 24, **changes: object) -> RunningOrderData:
    lines = tuple(
        RideLine(
            order=index + 1,
            ride_time=MORNING + timedelta(minutes=7 * index),
            number=str(10 + index * 7 % 60),
            rider=RIDERS[index % len(RIDERS)],
            horse=HORSES[index % len(HORSES)],
            owner="Mirefell Riding Club" if index % 3 == 0 else "",
            team="Green" if index % 4 == 0 else "",
            status="withdrawn" if index == 5 else "entered",
            hors_concours=index == 7,
            pause_minutes=15 if index in {7, 15} else 0,
        )
        for index in range(rides)
    )
    fields: dict[str, object] = {
        "head": class_head(),
        "judges": tuple(zip(SEATS[:2], JUDGES[:2], strict=True)),
        "rides": lines,
        "interval_seconds": 450,
    }
    return RunningOrderData(**(fields | changes))  # type: ignore[arg-type]
