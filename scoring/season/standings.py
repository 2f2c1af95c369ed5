"""Standings: every unit of every group with its value, its place, and why each of its scores counts or does not."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scoring.season.admission import Admitted, admit, group_of, unit_of
from scoring.season.assessment import Assessment, assess, publish
from scoring.season.conditions import all_true
from scoring.season.counted import CountedScore
from scoring.season.ledger import FieldValue, Score, figure_text, natural_key
from scoring.season.placing import place_rows
from scoring.season.rows import Explanation, GroupKey, Row, group_as_dict
from scoring.season.scheme import Scheme
from scoring.season.windows import SeasonFacts

__all__ = ["Group", "LeftOut", "Standings", "compute_standings"]


@dataclass(frozen=True, slots=True)
class Group:
    """One table of the standings."""

    group: GroupKey
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Scores of a unit that has no row in their group because none of them counts; ``unit`` is None where unknown."""

    unit: str | None
    group: GroupKey
    explanations: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class Standings:
    """Standings of a scheme; ``partial`` ones hold some units only, and no places."""

    scheme: Scheme
    as_of: date | None
    groups: tuple[Group, ...]
    left_out: tuple[LeftOut, ...] = ()
    partial: bool = False

    def rows(self) -> tuple[Row, ...]:
        return tuple(row for group in self.groups for row in group.rows)

    def as_document(self) -> dict[str, object]:
        """Return ``standings/1``."""
        with_tier = self.scheme.mode == "achieve"
        return {
            "format": "standings/1",
            "scheme": self.scheme.id,
            "as_of": None if self.as_of is None else self.as_of.isoformat(),
            "groups": [
                {"group": group_as_dict(group.group), "rows": [row.as_dict(with_tier=with_tier) for row in group.rows]}
                for group in self.groups
            ],
        }


def compute_standings(
    scheme: Scheme, scores: Iterable[Score], *, as_of: date | None = None, units: Collection[str] | None = None
) -> Standings:
    """Work out the standings of a scheme from a ledger; the order of the ledger does not matter.

    Without ``as_of`` everything in the ledger counts, and rolling seasons stand at the latest day in it. With ``units``
    only these are worked out: their values, requirements and explanations are exact, but places need every unit, so
    ``placing`` is None and ``after`` is not applied; merge the rows with the others' and call ``place_rows``. The whole
    ledger must still be given where the scheme counts places again, looks at shared places or counts competitions.

    >>> from scoring.season import read_scheme, scores_from_rows
    >>> means = read_scheme({"format": "scheme/1", "id": "m", "unit": "pair", "value": {"aggregate": "mean"}})
    >>> ledger = scores_from_rows([{"score_id": "s1", "pair": "P1", "percentage": "66.5"}])
    >>> compute_standings(means, ledger).rows()[0].value
    '66.500'
    """
    ledger = tuple(scores)
    admitted = admit(scheme, ledger, as_of=as_of, units=units)
    rows, left_out = _rows(scheme, admitted)
    latest = max((score.date for score in ledger if score.date is not None), default=None)
    placed = place_rows(scheme if units is None else _unranked(scheme), rows)
    groups = tuple(Group(group, members) for group, members in placed)
    return Standings(scheme, as_of or latest, groups, left_out, partial=units is not None)


def _unranked(scheme: Scheme) -> Scheme:
    """Return the scheme without places, for rows of some units only."""
    return replace(scheme, mode="qualify" if scheme.mode == "rank" else scheme.mode, after=())


def _rows(scheme: Scheme, admitted: Admitted) -> tuple[list[Row], tuple[LeftOut, ...]]:
    units: dict[tuple[GroupKey, str], list[CountedScore]] = defaultdict(list)
    for entry in admitted.entries:
        units[group_of(scheme, entry.score), unit_of(scheme, entry.score) or ""].append(entry)
    refused: dict[tuple[GroupKey, str | None], list[Explanation]] = defaultdict(list)
    for score, sentence in admitted.refused:
        refused[group_of(scheme, score), unit_of(scheme, score)].append((score.score_id, "not eligible", sentence))
    rows = []
    for (group, unit), entries in units.items():
        assessment = assess(scheme, entries, facts=admitted.facts)
        explained = _explanations(scheme, entries, assessment, facts=admitted.facts)
        if assessment.limited.kept:
            explained += refused.pop((group, unit), [])
            rows.append(_row(scheme, group, unit, entries, assessment, explained))
        else:
            refused[group, unit] += explained
    left_out = [LeftOut(unit, group, _in_order(found)) for (group, unit), found in refused.items()]
    return rows, tuple(
        sorted(left_out, key=lambda one: (one.unit is None, natural_key(one.unit or ""), str(one.group)))
    )


def _row(
    scheme: Scheme,
    group: GroupKey,
    unit: str,
    entries: Sequence[CountedScore],
    assessment: Assessment,
    explained: list[Explanation],
) -> Row:
    valued, published = assessment.valued, publish(scheme, assessment.valued.number, group=group)
    requirements = (*assessment.requirements, *([published.threshold] if published.threshold else []))
    states: dict[str, list[str]] = defaultdict(list)
    for score_id, state, _ in _in_order(explained):
        states[state].append(score_id)
    return Row(
        unit=unit,
        group=group,
        value=published.value,
        merit=published.merit,
        qualified=assessment.met and published.met,
        tie_keys=tuple(tie.key(counted=valued.counted, entries=assessment.limited.kept) for tie in scheme.ties),
        tier=assessment.tier if published.met else None,
        tier_rank=assessment.tier_rank,
        counted=tuple(states["counted"]),
        dropped=tuple(states["dropped"]),
        requirements=requirements,
        explanations=_in_order(explained),
        about=tuple((name, _latest_value(entries, name)) for name in scheme.fields_after),
        problem=valued.problem,
    )


def _latest_value(entries: Sequence[CountedScore], name: str) -> FieldValue:
    """Return what the unit's latest score says of a field, such as the rider of a pair."""
    known = [entry.score for entry in entries if entry.score.value_of(name) is not None]
    latest = max(known, key=lambda score: (score.date or date.min, natural_key(score.score_id)), default=None)
    return None if latest is None else latest.value_of(name)


def _explanations(
    scheme: Scheme, entries: Sequence[CountedScore], assessment: Assessment, *, facts: SeasonFacts
) -> list[Explanation]:
    limited, valued = assessment.limited, assessment.valued
    unknown = {**limited.unknown, **valued.unknown}
    dropped = {**limited.dropped, **valued.dropped}
    counted = {entry.score_id for entry in valued.counted}
    explained: list[Explanation] = []
    for entry in entries:
        name = entry.score_id
        doubts = _doubts(scheme, entry.score, facts=facts)
        figure = figure_text(entry.number, entry.score)
        if name in unknown:
            explained.append((name, "not eligible", f"Not counted: {unknown[name]}."))
        elif name in counted:
            kept = f" {valued.kept[name]}" if name in valued.kept else ""
            explained.append((name, "counted", f"Counts with {figure}.{kept}{doubts}"))
        else:
            reason = dropped.get(name, "It does not count.")
            explained.append((name, "dropped", f"Dropped with {figure}: {reason.rstrip('.')}.{doubts}"))
    return explained


def _doubts(scheme: Scheme, score: Score, *, facts: SeasonFacts) -> str:
    """Name the requirements that a score cannot count towards because a value is unknown."""
    found = []
    for need in scheme.require:
        for part in need.parts():
            verdict = all_true(part.where, score)
            if verdict.truth is None:
                found.append(f" It cannot count towards {part.words(facts)}: {verdict.reason}.")
    return "".join(found)


def _in_order(explained: Iterable[Explanation]) -> tuple[Explanation, ...]:
    return tuple(sorted(explained, key=lambda one: natural_key(one[0])))
