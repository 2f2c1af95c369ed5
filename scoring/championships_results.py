"""``championship-results/1``: a championship worked out."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from scoring.championships import (
    ChampionshipClass,
    ChampionshipDocument,
    ChampionshipRules,
    ChampionshipStep,
    ChampionshipTeams,
    ClassEntry,
    ClassTeam,
)
from scoring.championships_table import Cell, Contest, Row, Table
from scoring.placings import natural_order

__all__ = ["ChampionshipResults", "compute_championship"]


@dataclass(frozen=True, slots=True)
class ChampionshipResults:
    """A championship worked out, placed rows first. The cells of a team are classes, or its members' values."""

    rules: ChampionshipRules
    classes: tuple[ChampionshipClass, ...]
    rows: tuple[Row, ...]
    teams: tuple[Row, ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return the ``championship-results/1`` document."""
        return {
            "format": "championship-results/1",
            "championship": self.rules.id,
            "method": self.rules.method,
            "of": self.rules.of,
            "classes": [{"class": found.id, "title": found.title} for found in self.classes],
            "rows": [
                {"unit": row.name, **row.as_document(), "classes": [cell.as_document("class") for cell in row.cells]}
                for row in self.rows
            ],
            "teams": [self._team(row) for row in self.teams],
        }

    def _team(self, row: Row) -> dict[str, object]:
        of_units = self.rules.teams is not None and self.rules.teams.source == "units"
        return {
            "team": row.name,
            **row.as_document(),
            "classes": [] if of_units else [cell.as_document("class", number=False) for cell in row.cells],
            "members": [cell.as_document("unit", number=False) for cell in row.cells] if of_units else [],
        }


def compute_championship(document: ChampionshipDocument) -> ChampionshipResults:
    """Work out a championship: values, places, ties and teams, with the sentences that prove them.

    A unit's value is the sum or the mean of its class figures (the ``counting`` best, or all), or its figure of the
    last class alone. A class that the unit was entered in and that ended without a figure counts with ``drop_out``
    where that is given; a unit whose classes do not suffice, or that has no figure of its own among those that count,
    is listed without a place and with the reason. Of several entries of a unit in one class the best counts. Entries
    hors concours never do. Equal values are parted by the tie steps where the place is ``tie_places`` or better, else
    they share it. Sources: individual placings over two rounds at the Olympic Games of 2008 (mean of both) and 2016
    (the last alone), olympic reports; sharing and skipping, common practice.
    """
    rules = document.rules
    table = Table(_contest(document), _cells(document), figure=lambda name, step: _unit_figure(document, name, step))
    rows = table.rows()
    if rules.teams is None:
        return ChampionshipResults(rules, document.classes, rows)
    of_units = rules.teams.source == "units"
    teams = _teams_of_units(document, rules.teams, rows) if of_units else _teams_of_classes(document, rules.teams)
    return ChampionshipResults(rules, document.classes, rows, teams)


def _best_entry(document: ChampionshipDocument, unit: str, position: int) -> ClassEntry | None:
    """Return the entry that stands for a unit in one class: the best by the figure that counts, None without one."""
    rules, entries = document.rules, document.classes[position].entries.get(unit, ())

    def order(entry: ClassEntry) -> tuple[object, ...]:
        value = entry.figure(rules.of)
        signed = Fraction(0) if value is None else value if rules.lowest_wins else -value
        return value is None, signed, entry.status != "completed", natural_order(entry.number)

    return min(entries, key=order, default=None)


def _contest(document: ChampionshipDocument) -> Contest:
    rules = document.rules
    return Contest(
        titles=tuple(found.title for found in document.classes),
        method=rules.method,
        of=rules.of,
        counting=rules.counting,
        decimals=rules.decimals,
        rounding=rules.rounding,
        lowest_wins=rules.lowest_wins,
        ties=rules.ties,
        tie_places=rules.tie_places,
        names=document.names,
    )


def _cells(document: ChampionshipDocument) -> dict[str, list[Cell]]:
    units = dict.fromkeys(unit for found in document.classes for unit in found.entries)
    return {unit: [_cell(document, unit, position) for position in range(len(document.classes))] for unit in units}


def _cell(document: ChampionshipDocument, unit: str, position: int) -> Cell:
    rules, found = document.rules, document.classes[position]
    entry = _best_entry(document, unit, position)
    if entry is None:
        return Cell(found.id, found.title)
    value = entry.figure(rules.of)
    own = value is not None
    ended = entry.status not in ("completed", "running")
    if not own and ended:
        value = rules.drop_out
    return Cell(found.id, found.title, entry.number, entry.status, value, entry.figures.get(rules.of), own=own)


def _unit_figure(document: ChampionshipDocument, unit: str, step: ChampionshipStep) -> Fraction | None:
    """Return the figure of one step, the higher being the better."""
    rules = document.rules
    if step.by == "best-class":
        entries = [_best_entry(document, unit, position) for position in range(len(document.classes))]
        values = [value for entry in entries if entry is not None and (value := entry.figure(rules.of)) is not None]
        signed = [-value if rules.lowest_wins else value for value in values]
        return max(signed, default=None)
    name = f"{step.by} {step.argument}" if step.argument else "total" if step.by == "mean" else step.by
    figures = [
        None if (entry := _best_entry(document, unit, position)) is None else entry.figure(name)
        for position in step.positions
    ]
    known = [figure for figure in figures if figure is not None]
    if len(known) < len(figures):
        return None
    if step.by == "mean":
        return _contest(document).rounded(sum(known, Fraction(0)) / len(known))
    return -known[0] if step.by == "placing" else known[0]


def _teams_of_classes(document: ChampionshipDocument, teams: ChampionshipTeams) -> tuple[Row, ...]:
    contest = _team_contest(document, teams, ties=teams.ties)
    names = dict.fromkeys(team for found in document.classes for team in found.teams)
    cells = {name: [_team_cell(found, name, teams.of) for found in document.classes] for name in names}
    return Table(contest, cells, figure=lambda name, step: _team_figure(document, teams, name, step)).rows()


def _team_cell(found: ChampionshipClass, name: str, of: str) -> Cell:
    text = _team_text(found.teams.get(name), of)
    status = None if name not in found.teams else "completed" if text is not None else "incomplete"
    return Cell(
        found.id, found.title, None, status, None if text is None else Fraction(text), text, own=text is not None
    )


def _team_text(team: ClassTeam | None, of: str) -> str | None:
    if team is None:
        return None
    if of == "placing":
        return None if team.placing is None else str(team.placing)
    return team.value


def _team_figure(
    document: ChampionshipDocument, teams: ChampionshipTeams, name: str, step: ChampionshipStep
) -> Fraction | None:
    by_place = step.by == "placing" or (step.by == "best-class" and teams.of == "placing")
    positions = step.positions or tuple(range(len(document.classes)))
    texts = [_team_text(document.classes[p].teams.get(name), "placing" if by_place else "value") for p in positions]
    lowest = by_place or teams.of == "penalty" or (teams.of == "placing" and document.rules.of == "penalty")
    return max((-Fraction(text) if lowest else Fraction(text) for text in texts if text is not None), default=None)


def _teams_of_units(document: ChampionshipDocument, teams: ChampionshipTeams, rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """Place teams by their members' values; equal ones are parted by the worst value that counts.

    Source: European championships ("the lowest-placed counting rider"), as reported.
    """
    by_unit = {row.name: row for row in rows}
    cells: dict[str, list[Cell]] = {}
    for unit, team in teams.members.items():
        cells.setdefault(team, []).append(_member_cell(document, unit, by_unit.get(unit)))
    contest = _team_contest(document, teams, ties=(ChampionshipStep("worst-counting"),))

    return Table(contest, cells).rows()


def _member_cell(document: ChampionshipDocument, unit: str, row: Row | None) -> Cell:
    name = document.names.get(unit, unit)
    if row is not None and row.value is not None:
        return Cell(unit, name, None, "completed", Fraction(row.value), row.value, own=True)
    riding = row is not None and any(cell.status == "running" for cell in row.cells)
    drop_out = None if riding or document.rules.teams is None else document.rules.teams.drop_out
    return Cell(unit, name, None, "running" if riding else "without a value", drop_out)


def _team_contest(
    document: ChampionshipDocument, teams: ChampionshipTeams, *, ties: tuple[ChampionshipStep, ...]
) -> Contest:
    of_units = teams.source == "units"
    return Contest(
        titles=tuple(found.title for found in document.classes),
        method=teams.method,
        of=document.rules.of if of_units else {"value": "", "penalty": "penalty", "placing": "placing"}[teams.of],
        counting=teams.counting,
        decimals=document.rules.decimals,
        rounding=document.rules.rounding,
        lowest_wins=teams.lowest_wins,
        ties=ties,
        counted="members" if of_units else "classes",
    )
