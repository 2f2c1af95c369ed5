"""Two rows of one table side by side: what each counts, and the first figure in which they differ."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from riders.models import Season, StandingRow
from riders.selectors.seasons import ExplainedScore, explained_scores
from scoring import season as season_rules

_NEAR = 10


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two rows, the better one first, with the scores that count."""

    row: StandingRow
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


def neighbours_of(row: StandingRow) -> list[StandingRow]:
    """Return the rows around one in its table, the one above it first, then by distance."""
    near = StandingRow.objects.filter(
        season_id=row.season_id, table=row.table, position__gte=row.position - _NEAR, position__lte=row.position + _NEAR
    ).exclude(pk=row.pk)
    return sorted(
        near.select_related("pair__rider", "pair__horse"),
        key=lambda one: (abs(one.position - row.position), one.position > row.position),
    )


def compare_rows(one: StandingRow, other: StandingRow, *, season: Season) -> Comparison:
    """Compare two rows of one table; needs rows that keep what they are ranked by."""
    first, second = sorted((one, other), key=lambda row: row.position)
    steps = _steps(first, second, season)
    sides = tuple(
        Side(row, tuple(score for score in explained_scores(row) if score.outcome == "counted"))
        for row in (first, second)
    )
    return Comparison((sides[0], sides[1]), steps, _sentence(first, steps))


def _steps(first: StandingRow, second: StandingRow, season: Season) -> tuple[Step, ...]:
    scheme = season_rules.read_scheme(season.scheme.document)
    both = (first, second)
    compared = [("requirements met", [_yes(row.ranking.get("met", row.qualified)) for row in both])]
    notes = [row.ranking.get("note", "") for row in both]
    if any(notes):
        compared.append(("taken out of the ranking", [note or "no" for note in notes]))
    compared.append(("value", [row.value or "none" for row in both]))
    if first.placing and second.placing and first.ranking and second.ranking:
        keys = zip(first.ranking["ties"], second.ranking["ties"], strict=True)
        compared += [
            (tie.words(), [_figures(key) for key in pair]) for tie, pair in zip(scheme.ties, keys, strict=True)
        ]
    steps: list[Step] = []
    for words, (left, right) in compared:
        steps.append(Step(words, (left, right), left != right))
        if left != right:
            break
    return tuple(steps)


def _figures(key: list[str]) -> str:
    """Write what a tie step compares; figures of which the lower is better are kept turned, and shown as they are."""
    return ", then ".join(season_rules.number_text(abs(Fraction(part))) for part in key) or "none"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _sentence(first: StandingRow, steps: tuple[Step, ...]) -> str:
    deciding = next((step for step in steps if step.decides), None)
    if deciding is None:
        shared = "they share the place" if first.placing else "they stand in the order of their names"
        return f"Nothing that the rule looks at tells them apart, so {shared}."
    left, right = deciding.figures
    return f"They differ in this first: {deciding.words}, {left} against {right}."
