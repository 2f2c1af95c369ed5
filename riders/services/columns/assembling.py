"""Rows of the standings from what the columns came to, each text and rank written once for each different figure."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from riders.ranks import figure, name_order, place_rank, rest_rank
from riders.services.columns.working import TieStep, Work
from riders.services.standing_rows import Worked, plain_group, rank_of, ranking_of
from scoring.exact import format_units
from scoring.season import GroupKey, Row, Scheme, place_rows
from scoring.season.ledger import number_text
from scoring.season.requirements import Met
from scoring.season.rows import group_order


def assemble_rows(scheme: Scheme, work: Work, *, partial: bool) -> list[Worked]:
    """Return the rows table by table in their order; ``partial`` ones are some units', which ``after`` cannot compare.

    Raises :class:`riders.ranks.Unrankable`.
    """
    groups = [plain_group(tuple(zip(scheme.group_by, values, strict=True))) for values in work.groups]
    verdicts = _verdicts(scheme, work, groups)
    if scheme.after:
        rows = _compared(scheme, work, groups, verdicts, partial=partial)
    else:
        rows = _plain(scheme, work, groups, verdicts)
    tables = sorted(range(len(groups)), key=lambda number: group_order(groups[number]))
    place = {groups[number]: turn for turn, number in enumerate(tables)}
    return sorted(rows, key=lambda row: (place[row.group], row.rank, row.name_order))


class _Verdicts:
    """What each row comes to: its figure as text, whether it is qualified, its tier, its requirements as JSON."""

    def __init__(self, count: int) -> None:
        self.values = [""] * count
        self.qualified = [False] * count
        self.tiers = [""] * count
        self.tier_ranks = [0] * count
        self.requirements = [""] * count


def _verdicts(scheme: Scheme, work: Work, groups: Sequence[GroupKey]) -> _Verdicts:
    found = _Verdicts(len(work.group_of))
    texts = _texts(scheme, work)
    each, which = np.unique(np.vstack((work.haves, work.valued)), axis=1, return_inverse=True)
    judged = [_judge(scheme, one[:-1], valued=bool(one[-1]), work=work) for one in each.T.tolist()]
    bars = [None if scheme.threshold is None else scheme.threshold.bar_for(group) for group in groups]
    known: dict[tuple[int, int, int], tuple[bool, str]] = {}
    for row, (group, units, judgement) in enumerate(
        zip(work.group_of.tolist(), work.units.tolist(), which.reshape(-1).tolist(), strict=True)
    ):
        met, rank, tier, needs = judged[judgement]
        value = texts.get(units, "") if work.valued[row] else ""
        key = (group if scheme.threshold else 0, units if scheme.threshold else 0, judgement)
        if key not in known:
            bar = _bar(scheme, value, bars[group])
            requirements = [*needs, *([bar] if bar else [])]
            known[key] = bar is None or bar.met, json.dumps([one.as_dict() for one in requirements])
        reached, found.requirements[row] = known[key]
        found.values[row], found.tier_ranks[row] = value, rank
        found.qualified[row] = met and reached
        found.tiers[row] = tier if reached else ""
    return found


def _texts(scheme: Scheme, work: Work) -> dict[int, str]:
    return {units: format_units(units, decimals=scheme.decimals) for units in np.unique(work.units).tolist()}


def _judge(scheme: Scheme, haves: Sequence[int], *, valued: bool, work: Work) -> tuple[bool, int, str, tuple[Met, ...]]:
    """Judge one combination of what rows have: requirements met, place of the tier, its name, all requirements."""
    each = iter(haves)
    required = tuple(need.judge(each, work.facts) for need in scheme.require)
    met = all(one.met for one in required) and (scheme.value is None or valued)
    if scheme.mode != "achieve":
        return met, 0, "", required
    tiers = [tuple(need.judge(each, work.facts) for need in tier.require) for tier in scheme.tiers]
    for rank, (tier, needs) in enumerate(zip(scheme.tiers, tiers, strict=True)):
        if met and all(one.met for one in needs):
            return True, rank, tier.name, (*required, *needs)
    return False, len(scheme.tiers), "", (*required, *(tiers[-1] if tiers else ()))


def _bar(scheme: Scheme, value: str, bar: Fraction | None) -> Met | None:
    """Compare a published figure with the scheme's bar, as ``scoring.season.assessment.publish`` does."""
    if scheme.threshold is None:
        return None
    met = bool(value) and bar is not None and scheme.threshold.met(Fraction(value), bar)
    need = "" if bar is None else number_text(bar)
    return Met("value", value, need, met, sentence=scheme.threshold.words())


def _plain(scheme: Scheme, work: Work, groups: Sequence[GroupKey], verdicts: _Verdicts) -> Iterator[Worked]:
    merits = _merits(scheme, work)
    ties = [_written(step) for step in work.ties]
    counted, dropped = _packed(*work.counted), _packed(*work.dropped)
    paired = scheme.unit == "pair"
    lists = (work.group_of, work.unit_of, work.pair_of, work.units, work.valued, work.ineligible)
    for row, (group, unit, pair, units, valued, ineligible) in enumerate(
        zip(*(one.tolist() for one in lists), strict=True)
    ):
        merit = merits[units] if valued else None
        qualified = verdicts.qualified[row]
        if qualified and scheme.mode == "rank":
            rank = place_rank(merit or figure(0), [step[row] for step in ties])
        else:
            rank = rest_rank(merit, qualified=qualified, tier_rank=verdicts.tier_ranks[row] if qualified else 0)
        name = work.units_named[unit]
        yield Worked(
            groups[group], rank, name_order(name), name, pair if paired else None, verdicts.values[row], qualified,
            verdicts.tiers[row], "", verdicts.requirements[row], counted[row], dropped[row], ineligible,
        )  # fmt: skip


def _merits(scheme: Scheme, work: Work) -> dict[int, bytes]:
    sign = -1 if scheme.ascending else 1
    return {units: figure(sign * units, 10**scheme.decimals) for units in np.unique(work.units).tolist()}


def _written(step: TieStep) -> list[tuple[bytes, ...]]:
    """Write what a step compares of each row, each different figure once."""
    known: dict[tuple[int, int], bytes] = {}
    parts = []
    for key in zip(step.units.tolist(), step.scales.tolist(), strict=True):
        found = known.get(key)
        if found is None:
            found = known[key] = figure(*key)
        parts.append(found)
    return [tuple(parts[first:last]) for first, last in pairwise(step.starts.tolist())]


def _packed(starts: Any, numbers: Any) -> list[bytes]:
    """Return the numbers of each row's scores as they are stored."""
    whole = numbers.astype(np.int64).tobytes()
    return [whole[8 * first : 8 * last] for first, last in pairwise(starts.tolist())]


def _compared(
    scheme: Scheme, work: Work, groups: Sequence[GroupKey], verdicts: _Verdicts, *, partial: bool
) -> Iterator[Worked]:
    """Yield rows of a scheme whose ``after`` compares units: as the scoring core places them."""
    core = list(_core_rows(scheme, work, groups, verdicts))
    if partial:
        placed = {(row.group, row.unit): row for row in core}
    else:
        placed = {(row.group, row.unit): row for _, rows in place_rows(scheme, core) for row in rows}
    counted, dropped = _packed(*work.counted), _packed(*work.dropped)
    for number, one in enumerate(core):
        row = placed[one.group, one.unit]
        yield Worked(
            row.group, rank_of(scheme, row), name_order(row.unit), row.unit,
            int(work.pair_of[number]) if scheme.unit == "pair" else None, row.value or "", row.qualified,
            row.tier or "", row.note, verdicts.requirements[number], counted[number], dropped[number],
            int(work.ineligible[number]), None, json.dumps(ranking_of(row)),
        )  # fmt: skip


def _core_rows(scheme: Scheme, work: Work, groups: Sequence[GroupKey], verdicts: _Verdicts) -> Iterator[Row]:
    sign = -1 if scheme.ascending else 1
    for number, (group, unit, units, valued) in enumerate(
        zip(work.group_of.tolist(), work.unit_of.tolist(), work.units.tolist(), work.valued.tolist(), strict=True)
    ):
        keys = (step.units[step.starts[number] : step.starts[number + 1]] for step in work.ties)
        scales = (step.scales[step.starts[number] : step.starts[number + 1]] for step in work.ties)
        about = tuple(zip(scheme.fields_after, (values[number] for values in work.about), strict=True))
        yield Row(
            unit=work.units_named[unit],
            group=groups[group],
            value=verdicts.values[number] or None,
            merit=Fraction(sign * units, 10**scheme.decimals) if valued else None,
            qualified=verdicts.qualified[number],
            tie_keys=tuple(
                tuple(Fraction(int(part), int(scale)) for part, scale in zip(key, each, strict=True))
                for key, each in zip(keys, scales, strict=True)
            ),
            tier=verdicts.tiers[number] or None,
            tier_rank=verdicts.tier_ranks[number],
            about=plain_group(about),
        )
