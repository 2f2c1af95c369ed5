"""What the documents show, read from the database through the selectors of the lower layers into frozen data."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from django.conf import settings
from django.urls import reverse

import scoring
from competitions.models import CompetitionClass, Entry, Sheet
from competitions.selectors.board import Board, BoardRow, SeatColumn, TeamRow, board_for
from competitions.selectors.remarks import to_practise
from competitions.selectors.sheets import SheetLine, SheetView, sheet_view, sheets_of_entry
from reports.pdf.heads import ClassHead
from reports.pdf.results import ResultLine, ResultsData, SeatFigures, TeamLine
from reports.pdf.running_order import RideLine, RunningOrderData
from reports.pdf.sheets import ItemLine, PanelLine, PractiseLine, SheetData, SheetsData
from reports.tiewords import tie_words


def results_data(competition_class: CompetitionClass) -> ResultsData:
    board = board_for(competition_class)
    steps = competition_class.rule_set.document.get("ties") or []
    return ResultsData(
        head=class_head(competition_class),
        state=board.state,
        revision=board.revision,
        correcting=board.correcting,
        published_at=board.published_at,
        seats=tuple((column.seat, _judge_words(column)) for column in board.seats),
        lines=tuple(_result_line(row, steps) for row in board.rows),
        teams=tuple(_team_line(team, board) for team in board.teams),
        parts=board.parts,
        penalty=board.penalty,
        rules_title=board.rules_title,
        rule=" ".join(scoring.describe_rules(scoring.read_rules(competition_class.rule_set.document))),
        problem=board.problem,
    )


def _judge_words(column: SeatColumn) -> str:
    """Name the judge, and what a seat marks that does not mark everything."""
    parts = f"({', '.join(column.parts)})" if column.parts else ""
    return " ".join(found for found in (column.judge, parts) if found)


def _team_line(team: TeamRow, board: Board) -> TeamLine:
    counting = [f"{found.rider} ({found.number}) {found.figure}" for found in board.members_of(team)]
    counting += [] if team.value else ["too few scores that count"]
    return TeamLine(team.team, team.placing, team.value, tuple(counting))


def running_order_data(competition_class: CompetitionClass) -> RunningOrderData:
    entries = competition_class.entries.select_related("pair__rider", "pair__horse__owner").order_by(
        "order", "number", "pk"
    )
    pauses = {int(pause["after"]): int(pause["minutes"]) for pause in competition_class.breaks}
    return RunningOrderData(
        head=class_head(competition_class),
        judges=tuple(
            (seat.seat, seat.judge.name if seat.judge else "")
            for seat in competition_class.seats.select_related("judge")
        ),
        rides=tuple(_ride_line(entry, pauses.get(place, 0)) for place, entry in enumerate(entries, start=1)),
        interval_seconds=competition_class.interval_seconds,
    )


def sheet_data(sheet: Sheet) -> SheetsData:
    return _sheets_data(sheet.entry, [sheet_view(sheet)])


def all_sheets_data(entry: Entry) -> SheetsData:
    return _sheets_data(entry, sheets_of_entry(entry))


def class_head(competition_class: CompetitionClass) -> ClassHead:
    competition = competition_class.competition
    address = reverse("board", args=[competition.slug, competition_class.number])
    return ClassHead(
        competition=competition.title,
        venue=competition.venue,
        zone=competition.time_zone,
        number=competition_class.number,
        title=competition_class.title,
        test=competition_class.test.title,
        division=competition_class.division,
        arena=competition_class.arena,
        date=competition_class.date,
        version=competition_class.version,
        changed_at=competition_class.changed_at,
        address=f"{settings.PUBLIC_URL}{address}",
    )


def _result_line(row: BoardRow, steps: Sequence[Mapping[str, Any]]) -> ResultLine:
    return ResultLine(
        number=row.number,
        rider=row.rider,
        horse=row.horse,
        status=row.status,
        reason=row.reason,
        team=row.team,
        hors_concours=row.hors_concours,
        placing=row.placing,
        shared=row.shared,
        total=row.total,
        points=row.points,
        penalty=row.penalty,
        so_far=row.so_far,
        seats={
            seat: SeatFigures(
                points=cell.points, percentage=cell.percentage, place=cell.place, adjusted_to=cell.adjusted_to
            )
            for seat, cell in row.seats.items()
        },
        parts=row.parts,
        tie=tie_words(row.tie, steps),
        working=row.working,
    )


def _ride_line(entry: Entry, pause: int) -> RideLine:
    horse = entry.pair.horse
    return RideLine(
        order=entry.order,
        ride_time=entry.ride_time,
        number=entry.number,
        rider=entry.pair.rider.name,
        horse=horse.name,
        owner=horse.owner.name if horse.owner else "",
        team=entry.team,
        status=entry.status,
        hors_concours=entry.hors_concours,
        pause_minutes=pause,
    )


def _sheets_data(entry: Entry, found: Iterable[SheetView]) -> SheetsData:
    competition_class, views = entry.competition_class, list(found)
    board = board_for(competition_class, everyone=True)
    row = next((row for row in board.rows if row.entry_id == entry.pk), None)
    return SheetsData(
        head=class_head(competition_class),
        number=entry.number,
        rider=entry.pair.rider.name,
        horse=entry.pair.horse.name,
        result=_result_words(row, board) if row else "",
        state=board.state,
        sheets=tuple(_sheet(view, row, competition_class) for view in views),
        panel=_panel(row, board, printed={view.seat for view in views}) if row else (),
        working=row.working if row else (),
        practise=_practise(views) if len(views) > 1 else (),
    )


def _panel(row: BoardRow, board: Board, *, printed: Collection[str]) -> tuple[PanelLine, ...]:
    lines = []
    for column in board.seats:
        if cell := row.seats.get(column.seat):
            line = PanelLine(
                seat=column.seat,
                judge=column.judge,
                points=cell.points,
                percentage=cell.percentage,
                place=cell.place,
                printed=column.seat in printed,
            )
            lines.append(line)
    return tuple(lines)


def _practise(views: Sequence[SheetView]) -> tuple[PractiseLine, ...]:
    """Return what the judges wrote where most was lost, at most two remarks an item."""
    return tuple(
        PractiseLine(seat=said.seat, item=said.item, at=said.at, words=said.text, mark=said.mark, remark=said.words)
        for costly in to_practise(views)
        for said in costly.remarks[:2]
    )


def _result_words(row: BoardRow, board: Board) -> str:
    if row.status != "completed":
        return f"{row.status}, {row.reason}." if row.reason else f"{row.status}."
    placed = sum(1 for other in board.rows if other.placing is not None)
    place = f"place {row.placing} of {placed}" if row.placing is not None else "without a place"
    return f"{place}{', shared' if row.shared else ''}, {row.total} % ({board.state})."


def _sheet(view: SheetView, row: BoardRow | None, competition_class: CompetitionClass) -> SheetData:
    given = view.given_result is not None
    off, reduced = _off(view, row, competition_class)
    return SheetData(
        seat=view.seat,
        judge=view.judge,
        lines=() if given else tuple(_item(line) for line in view.lines),
        lost=() if given else tuple(_item(line) for line in view.lost),
        practise=() if given else _practise([view]),
        overall_remarks=view.overall_remarks,
        points=view.summary.points or None,
        maximum=view.summary.maximum or None,
        percentage=view.summary.percentage,
        complete=view.summary.complete,
        signed=view.signed,
        changed_at=view.changed_at,
        off=off,
        reduced=reduced,
        recorded=view.recorded,
    )


def _item(line: SheetLine) -> ItemLine:
    return ItemLine(
        item=line.item_id,
        at=line.at,
        words=line.text,
        coefficient=line.coefficient,
        collective=line.collective,
        part=line.part,
        mark=line.mark,
        points=line.points,
        lost=line.lost,
        remark=line.remark,
        substitute=line.substitute,
    )


def _off(view: SheetView, row: BoardRow | None, competition_class: CompetitionClass) -> tuple[tuple[str, ...], bool]:
    """Say what came off this sheet and what came off the total, and whether the sheet's own points are fewer for it.

    The line of the working, which a pocket calculator can follow, stands below what came off the sheet.
    """
    errors = (competition_class.rule_set.document.get("errors") or {}).get("off", "sheet-points")
    taken = [(errors, f"{view.errors} {'error' if view.errors == 1 else 'errors'} of course")] if view.errors else []
    taken += [
        (deduction["off"], deduction.get("reason") or "deduction")
        for deduction in view.deductions
        if deduction.get("seat") in {None, view.seat}
    ]
    here = [reason for off, reason in taken if off != "total-percentage"]
    total = [reason for off, reason in taken if off == "total-percentage"]
    sentences = []
    if here:
        working = [line for line in row.working if line.startswith(f"{view.seat}: ")] if row else []
        sentences += [f"Off this sheet for {', '.join(here)}.", *working]
    if total:
        sentences.append(f"Off the total, not off this sheet, for {', '.join(total)}.")
    return tuple(sentences), bool(here)
