"""What splits units with the same value: stage ``ties`` of a scheme."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from scoring.documents import Reader
from scoring.season.aggregates import aggregate
from scoring.season.conditions import Condition, all_true, conditions_in_words, read_conditions
from scoring.season.counted import CountedScore
from scoring.season.requirements import COUNTS, Need

__all__ = ["Tie", "TieKey", "read_ties"]

TieKey = tuple[Fraction, ...]
"""What a step compares: higher is better, and nothing at all (an empty tuple) is worst."""

_STEPS = (
    "best-score", "next-best-scores", "more-scores", "fewer-scores", "latest-score", "best-collectives",
    "mean-percentage", "most-firsts", "better-in", "more",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tie:
    """One step. It looks at the counted scores, or with ``of_all`` at the dropped ones too."""

    by: str
    of_all: bool = False
    where: tuple[Condition, ...] = ()
    count: str = "scores"

    def key(self, *, counted: Sequence[CountedScore], entries: Sequence[CountedScore]) -> TieKey:
        """Return what the step compares, from the counted scores and all scores of the unit (after ``limit``)."""
        looked_at = entries if self.of_all else counted
        if self.where:
            looked_at = [entry for entry in looked_at if all_true(self.where, entry.score).truth]
        return self._key(looked_at)

    def _key(self, entries: Sequence[CountedScore]) -> TieKey:  # noqa: PLR0911 - one return for each step
        merits = sorted((entry.merit for entry in entries), reverse=True)
        match self.by:
            case "best-score" | "better-in":
                return tuple(merits[:1])
            case "next-best-scores":
                return tuple(merits)
            case "more-scores" | "fewer-scores":
                return (Fraction(len(entries) if self.by == "more-scores" else -len(entries)),)
            case "latest-score":
                return _latest(entries)
            case "best-collectives":
                marks = [entry.score.collectives for entry in entries if entry.score.collectives is not None]
                return (max(marks),) if marks else ()
            case "mean-percentage":
                mean = aggregate([e.score.percentage for e in entries if e.score.percentage is not None], how="mean")
                return () if mean is None else (mean,)
            case "most-firsts":
                return (Fraction(sum(entry.score.placing == 1 for entry in entries)),)
            case _:
                return (Fraction(Need(self.count).have([entry.score for entry in entries])),)

    def words(self) -> str:
        named = {
            "more": f"more {self.count}", "better-in": "the better score", "best-score": "the best score",
            "next-best-scores": "the best scores, one after the other", "latest-score": "the latest score",
            "best-collectives": "the best collective marks", "mean-percentage": "the higher mean percentage",
            "most-firsts": "more first places",
        }.get(self.by, self.by.replace("-", " "))  # fmt: skip
        where = f" where {conditions_in_words(self.where)}" if self.where else ""
        return f"{named}{where}{', dropped scores included' if self.of_all and self.by != 'better-in' else ''}"


def _latest(entries: Sequence[CountedScore]) -> TieKey:
    dated = [(entry.score.date, entry.merit) for entry in entries if entry.score.date is not None]
    latest: date | None = max((day for day, _ in dated), default=None)
    merits = [merit for day, merit in dated if day == latest]
    return (max(merits),) if merits else ()


def read_ties(reader: Reader) -> tuple[Tie, ...]:
    """Read ``ties``, a list of steps."""
    ties = []
    for part in reader.objects("ties"):
        by = part.take_choice("by", _STEPS, required=True)
        of = part.take_choice("of", ("counted", "all"), default="all" if by == "better-in" else "counted")
        where = read_conditions(part, "where")
        count = part.take_choice("count", tuple(COUNTS), required=by == "more", default="scores")
        part.finish()
        if by == "better-in" and part.raw("where") in (None, []):
            part.problem("where", "Say in which scores the better one decides: give conditions under where.")
        if by:
            ties.append(Tie(by, of == "all", where, count))
    return tuple(ties)
