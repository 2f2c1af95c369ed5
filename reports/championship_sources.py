"""What the print of a championship shows, read through its selector into frozen data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.conf import settings
from django.urls import reverse

from competitions.models import Championship
from competitions.selectors.championships import (
    ChampionshipCell,
    ChampionshipColumn,
    ChampionshipRow,
    ChampionshipTeam,
    ChampionshipView,
    championship_for,
)
from reports.pdf.championship import CellWords, ChampionshipData, PlaceLine, TeamPlace
from reports.pdf.lists import DASH
from reports.tiewords import tie_words


def championship_data(championship: Championship) -> ChampionshipData:
    view, competition = championship_for(championship), championship.competition
    names = {row.unit: row.name for row in view.rows}
    address = reverse("championship", args=[competition.slug, championship.slug])
    return ChampionshipData(
        competition=competition.title,
        venue=competition.venue,
        zone=competition.time_zone,
        title=view.title,
        starts_on=competition.starts_on,
        ends_on=competition.ends_on,
        address=f"{settings.PUBLIC_URL}{address}",
        state=view.state,
        as_of=max((column.changed_at for column in view.columns), default=None),
        unit=view.unit,
        value_title=f"{view.value_title} %" if view.of == "total" else view.value_title,
        columns=tuple(f"Class {column.number}" for column in view.columns),
        classes=tuple(map(_class_words, view.columns)),
        lines=tuple(_line(row, view, names) for row in view.rows),
        teams=tuple(_team(team, view) for team in view.teams),
        rule=" ".join(view.description),
        sources="; ".join(view.sources),
        problem=view.problem,
    )


def _class_words(column: ChampionshipColumn) -> str:
    state = f"official, revision {column.revision}" if column.official else "provisional"
    return f"Class {column.number}, {column.title}: {state}"


def _line(row: ChampionshipRow, view: ChampionshipView, names: Mapping[str, str]) -> PlaceLine:
    return PlaceLine(
        name=row.rider or row.name,
        below=row.horse if row.rider else "",
        placing=row.placing,
        shared=row.shared,
        value=row.value,
        cells=tuple(_cells(row.cells, view, valued=row.value is not None)),
        tie=tie_words(row.tie, (), names=names),
        reason=row.reason or "",
    )


def _team(team: ChampionshipTeam, view: ChampionshipView) -> TeamPlace:
    valued = team.value is not None
    told = [(name, cell.value or DASH, _note(cell, view, valued=valued)) for name, cell in team.member_cells]
    return TeamPlace(
        team=team.team,
        placing=team.placing,
        shared=team.shared,
        value=team.value,
        cells=() if team.members else tuple(_cells(team.cells, view, valued=valued)),
        members=tuple(f"{name} {figure}{note}" for name, figure, note in told),
        reason=team.reason or "",
    )


def _cells(cells: Iterable[ChampionshipCell], view: ChampionshipView, *, valued: bool) -> Iterable[CellWords]:
    for cell in cells:
        if cell.value is None:
            ended = cell.status if cell.status != "completed" else None
            yield CellWords("", ended or "")
        else:
            yield CellWords(cell.value, _note(cell, view, valued=valued).strip(" ()"))


def _note(cell: ChampionshipCell, view: ChampionshipView, *, valued: bool) -> str:
    """Say in brackets where a figure stands in for a missing one, or is not among those that count."""
    if cell.drop_out:
        return f" ({cell.status})"
    if valued and cell.value is not None and not cell.counts and view.method != "last-class-decides":
        return " (not counted)"
    return ""
