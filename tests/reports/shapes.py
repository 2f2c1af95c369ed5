"""Invented data for the documents, in several shapes: few and many judges, entries, words."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

from reports.pdf.championship import CellWords, ChampionshipData, PlaceLine, TeamPlace
from reports.pdf.heads import ClassHead
from reports.pdf.results import ResultLine, ResultsData, SeatFigures, TeamLine
from reports.pdf.running_order import RideLine, RunningOrderData
from reports.pdf.season_statement import RequirementLine, ScoreLine, SeasonStatementData, TableStanding
from reports.pdf.sheets import ItemLine, PanelLine, PractiseLine, SheetData, SheetsData

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
RIDERS = (
    "Joséphine Carcassès",
    "Tobias Oberlechner",
    "Mădălina Țurcașu",
    "Rosalind Achterberg",
    "Őrsi Fűzfa",
    "Łukasz Dębowy",
)
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
WORKING = (
    "C: 223.5 points - 2 for 1 error of course = 221.5 of 330 = 67.121 % (67.121212... rounded half up)",
    "Total: (67.121 + 66.818 + 68.291) / 3 = 67.410 %",
    "Equal with number 14 on 67.410 %.",
    "Collective marks: 14 (C) + 15 (H) + 14.5 (B) = 43.5",
    "Collective marks: 43.5, against 42 of number 14; the higher is placed first.",
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


def results(
    *,
    seats: int = 3,
    entries: int = 12,
    teams: bool = False,
    others: bool = True,
    panel: tuple[tuple[str, str], ...] | None = None,
    working: tuple[str, ...] = (),
    **changes: object,
) -> ResultsData:
    lines = [result_line(index, seats=seats, working=working) for index in range(entries)]
    if others:
        lines += [
            result_line(entries, seats=seats, placing=None, hors_concours=True),
            result_line(
                entries + 1, seats=0, placing=None, total=None, points=None, status="eliminated",
                reason="third error of course",
            ),
            result_line(
                entries + 2, seats=0, placing=None, total=None, points=None, status="retired", reason="horse unlevel"
            ),
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
        "seats": panel or tuple(zip(SEATS[:seats], JUDGES[:seats], strict=True)),
        "lines": tuple(lines),
        "teams": (
            TeamLine("Green", 1, "212.430", tuple(f"{RIDERS[n]} ({12 + n}) 7{n}.112" for n in range(3))),
            TeamLine("Mirefell Riding Club", 2, "209.112", tuple(f"{RIDERS[n]} ({10 + n}) 6{n}.9" for n in range(4))),
            TeamLine("Harrow Bank", None, None, ()),
        )
        if teams
        else (),
        "rules_title": "Points off for errors, collective marks decide",
        "rule": "Each judge's percentage is rounded to 3 decimals; the total is their mean, rounded to 3 decimals. The "
        "first error of course costs 2 points on every sheet, the second 4, the third eliminates. Equal totals: the "
        "higher collective marks win.",
    }
    return ResultsData(**(fields | changes))  # type: ignore[arg-type]


def freestyle(*, seats: int = 3, entries: int = 12, **changes: object) -> ResultsData:
    """Return a class whose totals are put together from two parts."""
    data = results(seats=seats, entries=entries, **changes)
    lines = tuple(
        replace(line, parts={"technical": percentage(index, 2), "artistic": percentage(index, 3)})
        if line.total
        else line
        for index, line in enumerate(data.lines)
    )
    return replace(data, lines=lines, parts=("technical", "artistic"), teams=data.teams)


def eventing(*, entries: int = 10) -> ResultsData:
    """Return a class that penalties decide."""
    data = results(seats=2, entries=entries)
    lines = tuple(
        replace(line, penalty=f"{30 + index}.{index}") if line.total else line for index, line in enumerate(data.lines)
    )
    return replace(data, lines=lines, penalty=True)


def championship(*, classes: int = 2, entries: int = 9, teams: str = "", **changes: object) -> ChampionshipData:
    """Return a championship; ``teams`` come from the ``classes`` or from the ``units``."""

    def cells(index: int) -> tuple[CellWords, ...]:
        return tuple(CellWords(percentage(index, n), "not counted" if n == 3 else "") for n in range(classes))

    lines = [
        PlaceLine(
            name=RIDERS[index % len(RIDERS)],
            below=HORSES[index % len(HORSES)],
            placing=max(1, index),
            shared=index < 2,
            value=percentage(index, 1),
            cells=cells(index),
            tie=f"equal with {RIDERS[2]} with {HORSES[2]}, parted by part: 70.250" if index == 3 else "",
        )
        for index in range(entries)
    ]
    if entries:
        missing = (CellWords("", "eliminated"), *cells(20)[1:])
        lines.append(PlaceLine(name=RIDERS[4], below=HORSES[5], cells=missing, reason="Class 1: eliminated."))
    made = {
        "classes": tuple(
            TeamPlace(team=name, placing=n + 1, value=f"{431 - n}.200", cells=cells(n))
            for n, name in enumerate(("Green", "Mirefell Riding Club"))
        ),
        "units": (
            TeamPlace(
                team="Green", placing=1, value="212.430", members=tuple(f"{RIDERS[n]} 7{n}.112" for n in range(4))
            ),
            TeamPlace(team="Harrow Bank", members=(f"{RIDERS[5]} 68.250",), reason="3 members count, but only 1 can."),
        ),
        "": (),
    }[teams]
    fields: dict[str, object] = {
        "competition": "Mirefell November Days",
        "venue": "Mirefell Riding Ground",
        "zone": "Europe/Vienna",
        "title": "Mirefell Elementary Championship",
        "starts_on": date(2026, 11, 13),
        "ends_on": date(2026, 11, 15),
        "address": "http://127.0.0.1:8000/competitions/mirefell-2026-11/championships/elementary/",
        "state": "provisional",
        "as_of": MORNING,
        "unit": "pair",
        "value_title": "Mean %",
        "columns": tuple(f"Class {n + 1}" for n in range(classes)),
        "classes": tuple(f"Class {n + 1}, Larkfield Elementary {n + 1}: provisional" for n in range(classes)),
        "lines": tuple(lines),
        "teams": made,
        "rule": "The mean of the total in Class 1 and Class 2 decides, to 3 decimals. The highest wins.",
        "sources": "the schedule of the competition",
    }
    return ChampionshipData(**(fields | changes))  # type: ignore[arg-type]


def running_order(*, count: int = 24, **changes: object) -> RunningOrderData:
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
        for index in range(count)
    )
    fields: dict[str, object] = {
        "head": class_head(),
        "judges": tuple(zip(SEATS[:2], JUDGES[:2], strict=True)),
        "rides": lines,
        "interval_seconds": 450,
    }
    return RunningOrderData(**(fields | changes))  # type: ignore[arg-type]


REMARKS = (
    "Supple and active, balance improves through the turn; let the shoulder come in front.",
    "Loses bend on the second half; ride the inside hind further under before the letter.",
    "",
    "Clear rhythm.",
    (
        "Late and a little abrupt, but straight. Prepare with a half-halt two strides earlier, and keep the hand quiet "
        "so that the neck can stay in front of the withers throughout the whole of the transition."
    ),
    "",
)
MOVEMENTS = (
    ("A, X", "Enter in collected trot. X halt, salute. Proceed in collected trot."),
    ("C, M-X-K", "C track right. M to K change the rein in medium trot."),
    ("F-B", "Shoulder-in left."),
    ("B", "Circle left 10 m."),
    ("C", "Halt. Rein back four steps. Proceed at once in collected trot."),
)


def item_line(index: int, *, remark: str) -> ItemLine:
    at, words = MOVEMENTS[index % len(MOVEMENTS)]
    tenths = 50 + index * 35 % 40 // 5 * 5
    double = index % 4 == 2
    factor = 2 if double else 1
    points, lost = tenths * factor, (100 - tenths) * factor
    return ItemLine(
        item=str(index + 1),
        at=at,
        words=words,
        coefficient=str(factor),
        mark=f"{tenths // 10}.{tenths % 10}",
        points=f"{points // 10}.{points % 10}" if points % 10 else str(points // 10),
        lost=f"{lost // 10}.{lost % 10}" if lost % 10 else str(lost // 10),
        remark=remark,
        substitute=index == 6,
    )


def sheet(
    *, seat: str = "C", judge: str = JUDGES[0], items: int = 26, remarks: bool = True, long: bool = False
) -> SheetData:
    spoken = "More uphill, and sooner. " * 250 if long else ""
    lines = [
        item_line(index, remark=(spoken if index == 4 and long else REMARKS[index % len(REMARKS)]) if remarks else "")
        for index in range(items)
    ]
    lines.append(
        ItemLine(
            item="G1",
            words="General impression: harmony of the pair, the rider's seat and aids",
            coefficient="2",
            collective=True,
            mark="7.0",
            points="14",
            lost="6",
            remark="A pair that trusts each other." if remarks else "",
        )
    )
    lost = sorted(lines, key=lambda line: -Fraction(line.lost or "0"))[:5]
    return SheetData(
        seat=seat,
        judge=judge,
        lines=tuple(lines),
        lost=tuple(lost),
        practise=tuple(practise_line(line, seat=seat) for line in lost[:3] if line.remark),
        overall_remarks=(
            "A willing horse, ridden with feeling. The trot work is regular and shows good swing; in the canter the "
            "frame becomes short and the collection costs activity." + (" Keep at it." * 400 if long else "")
        )
        if remarks
        else "",
        points="221.5",
        maximum="330",
        percentage="67.121",
        complete=True,
        signed=True,
        changed_at=MORNING,
        off=("2 points off for 1 error of course",),
        reduced=True,
    )


def practise_line(line: ItemLine, *, seat: str) -> PractiseLine:
    return PractiseLine(seat=seat, item=line.item, at=line.at, words=line.words, mark=line.mark, remark=line.remark)


def sheets(*, count: int = 1, remarks: bool = True, long: bool = False, **changes: object) -> SheetsData:
    fields: dict[str, object] = {
        "head": class_head(),
        "number": "12",
        "rider": RIDERS[0],
        "horse": HORSES[0],
        "result": "3rd of 14 with 67.410 %, official.",
        "state": "official",
        "sheets": tuple(
            sheet(seat=SEATS[n], judge=JUDGES[n], remarks=remarks, long=long and n == 1) for n in range(count)
        ),
        "panel": tuple(
            PanelLine(
                seat=SEATS[n],
                judge=JUDGES[n],
                points="221.5",
                percentage=percentage(n, 2),
                place=n + 2,
                printed=n < count,
            )
            for n in range(3 if count == 1 and remarks else count)
        ),
        "working": WORKING if count and remarks else (),
        "practise": (practise_line(item_line(4, remark="More bend, earlier."), seat="H"),) if count > 1 else (),
    }
    return SheetsData(**(fields | changes))  # type: ignore[arg-type]


def score_line(index: int, **changes: object) -> ScoreLine:
    fields: dict[str, object] = {
        "date": date(2026, 10, 3) + timedelta(days=13 * index),
        "competition": ("Mirefell November Days", "Harrow Bank Autumn Show", "Stonecross Indoor Dressage")[index % 3],
        "class_name": f"Class {index % 5 + 1}",
        "test": "Larkfield Elementary 2",
        "judges": JUDGES[: index % 3 + 1],
        "percentage": percentage(index, 1),
        "placing": index % 6 + 1,
        "starters": 14 + index,
        "outcome": "counted",
        "sentence": "One of the 6 best scores.",
    }
    return ScoreLine(**(fields | changes))  # type: ignore[arg-type]


def season_statement(*, counted: int = 9, **changes: object) -> SeasonStatementData:
    dropped = {"outcome": "dropped", "sentence": "Of the scores that may count, the 6 best count; this one is the 7th."}
    barred = {"outcome": "not eligible", "sentence": "The rider was not a member on the day of the ride."}
    fields: dict[str, object] = {
        "association": "Valdemoor Dressage Association",
        "season": "Season 2026/27",
        "starts_on": date(2026, 10, 1),
        "ends_on": date(2027, 9, 30),
        "closed": False,
        "version": 12,
        "as_of": datetime(2027, 2, 3, 18, 5, tzinfo=UTC),
        "rider": RIDERS[2],
        "horse": HORSES[5],
        "scheme": "Median of the eight best (version 1)",
        "tables": (
            TableStanding(
                group="elementary, open", placing=None, shared=False, value="70.112", qualified=False, rows=31,
                requirements=(
                    RequirementLine(words="at least 8 scores", have="7", need="8", met=False),
                    RequirementLine(words="at least 4 judges", have="4", need="4", met=True),
                    RequirementLine(words="at least 4 competitions", have="3", need="4", met=False),
                ),
            ),
        ),
        "scores": (
            *(score_line(index) for index in range(counted)),
            *(score_line(index, **dropped) for index in range(counted // 4)),
            score_line(3, **barred),
        ),
        "rule": (
            "Scores from 1 October 2026 to 30 September 2027 count.",
            "A score counts only if the rider is a member on the day and the percentage is at least 50.",
            "Needed are at least 8 scores, at least 4 judges and at least 4 competitions.",
            "The value is the median of the eight best percentages, rounded to 3 decimals.",
        ),
    }  # fmt: skip
    return SeasonStatementData(**(fields | changes))  # type: ignore[arg-type]
