"""Two rows of one table side by side: what each counts, and the first figure in which they differ."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Q

from riders.models import Season, StandingRow, StandingTable
from riders.selectors.details import Detail, details_of
from riders.selectors.places import PlacedRow, placed_rows, rows_from
from riders.selectors.seasons import ExplainedScore, explained_rows
from scoring import season as season_rules

_NEAR = 10


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two rows, the better one first, with the scores that count."""

    row: PlacedRow
    counted: tuple[ExplainedScore, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """What is compared at a step of the ranking, as text on either side; ``decides`` at the first that differs."""

    words: str
    figures: tuple[str, str]
    decides: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    sides: tuple[Side, Side]
    steps: tuple[Step, ...]
    sentence: str


def row_of_unit(table: StandingTable, unit: str) -> PlacedRow | None:
    """Return the row of a unit in a table; None where it has none."""
    found = placed_rows(StandingRow.objects.filter(table=table, unit=unit))
    return found[0] if found else None


def neighbours_of(placed: PlacedRow) -> list[PlacedRow]:
    """Return the rows around one in its table, the one above it first, then by distance."""
    row = placed.row
    rows = StandingRow.every.filter(table=row.table_id)
    position = rows.filter(Q(rank__lt=row.rank) | Q(rank=row.rank, name_order__lt=row.name_order)).count()
    first = max(position - _NEAR, 0)
    around = rows_from(row.table, first=first, number=position - first + _NEAR + 1)
    distances = {one.pk: first + index - position for index, one in enumerate(around)}
    near = [one for one in around if one.pk != row.pk]
    return sorted(near, key=lambda one: (abs(distances[one.pk]), distances[one.pk] > 0))


def compare_rows(one: PlacedRow, other: PlacedRow, *, season: Season) -> Comparison:
    """Compare two rows of one table."""
    first, second = sorted((one, other), key=lambda placed: (bytes(placed.row.rank), bytes(placed.row.name_order)))
    details = details_of(season, [first.row, second.row])
    steps = _steps((first, second), (details[first.pk], details[second.pk]), season)
    explained = explained_rows(season, (first, second))
    sides = tuple(
        Side(placed, tuple(score for score in scores if score.outcome == "counted"))
        for placed, scores in zip((first, second), explained, strict=True)
    )
    return Comparison((sides[0], sides[1]), steps, _sentence(first, steps))


def _steps(both: tuple[PlacedRow, PlacedRow], details: tuple[Detail, Detail], season: Season) -> tuple[Step, ...]:
    scheme = season_rules.read_scheme(season.scheme.document)
    compared = [("requirements met", [_yes(placed.qualified or bool(placed.note)) for placed in both])]
    if any(placed.note for placed in both):
        compared.append(("taken out of the ranking", [placed.note or "no" for placed in both]))
    compared.append(("value", [placed.value or "none" for placed in both]))
    if all(placed.placing for placed in both):
        keys = zip(*(detail.ties for detail in details), strict=True)
        compared += [
            (tie.words(), [_figures(key) for key in pair]) for tie, pair in zip(scheme.ties, keys, strict=False)
        ]
    steps: list[Step] = []
    for words, (left, right) in compared:
        steps.append(Step(words, (left, right), left != right))
        if left != right:
            break
    return tuple(steps)


def _figures(key: tuple[Fraction, ...]) -> str:
    """Write what a tie step compares; figures of which the lower is better are kept turned, and shown as they are."""
    return ", then ".join(season_rules.number_text(abs(part)) for part in key) or "none"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _sentence(first: PlacedRow, steps: tuple[Step, ...]) -> str:
    deciding = next((step for step in steps if step.decides), None)
    if deciding is None:
        shared = "they share the place" if first.placing else "they stand in the order of their names"
        return f"Nothing that the rule looks at tells them apart, so {shared}."
    left, right = deciding.figures
    return f"Decided by {deciding.words}: {left} against {right}."
