"""From the columns of a ledger to rows of the standings: the stages of a scheme, each for all units at once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riders.services.columns.numbering import different, first_of_each
from riders.services.columns.ordering import by_integers, ordered, turns
from riders.services.columns.reading import Column, Columns, Numbers
from riders.services.columns.scope import COUNT_FIELDS, NotColumnar, needs_of
from riders.services.columns.truths import (
    Figures,
    Mask,
    all_known,
    distinct,
    figures,
    guard,
    largest,
    maxima,
    numbers_of,
    rounded,
    sub,
    sums,
    truths,
)
from scoring.season import Scheme
from scoring.season.ledger import FieldValue, as_text
from scoring.season.limits import Limit
from scoring.season.matching import most_matched
from scoring.season.requirements import COUNTS, Need
from scoring.season.ties import Tie
from scoring.season.windows import SeasonFacts

Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class TieStep:
    """What one step compares: ``units[starts[n] : starts[n + 1]]`` of row n, each over its ``scale``."""

    starts: Numbers
    units: Numbers
    scales: Numbers


@dataclass(frozen=True, slots=True)
class Work:
    """What came of each row; arrays are by row, ``counted`` and ``dropped`` by score with ``row_of`` beside them.

    ``units`` are those of the published figure, where ``valued``; ``haves`` hold what each part of the scheme's
    requirements counts, then those of its tiers.
    """

    groups: list[tuple[FieldValue, ...]]
    group_of: Rows
    units_named: list[str]
    unit_of: Rows
    pair_of: Numbers
    units: Numbers
    valued: Mask
    haves: NDArray[np.int64]
    ineligible: Numbers
    ties: list[TieStep]
    about: list[list[Any]]
    counted: tuple[Numbers, Numbers]
    dropped: tuple[Numbers, Numbers]
    facts: SeasonFacts


class _Entries:
    """The eligible scores on their way through the stages, each with its row; those gone are noted."""

    def __init__(self, columns: Columns, which: Numbers, rows: Rows, count: int, figures: Figures, *, ascending: bool):
        self.columns, self.which, self.rows, self.count = columns, which, rows, count
        self.scale = figures.scale
        self.numbers = figures.units[which]
        self.merits = -self.numbers if ascending else self.numbers
        self.days = _days(columns)[which]
        self.kept = np.ones(len(which), np.bool_)
        self.unknown = np.zeros(len(which), np.bool_)

    def column(self, column: Column) -> Column:
        return sub(column, self.which)

    def order(self, among: Mask, keys: list[NDArray[Any]]) -> Numbers:
        """Return the positions of ``among`` by these keys."""
        chosen = np.flatnonzero(among)
        order = ordered([key[chosen] for key in keys], self.columns.numbers[self.which[chosen]])
        return chosen[order]


def work_columns(scheme: Scheme, columns: Columns, *, as_of: date | None = None) -> Work | None:
    """Take the scores through the stages of a scheme; None where no row comes of it.

    Rolling days stand on ``as_of``, without it on the latest day of these columns.
    """
    figures_of_scores = numbers_of(scheme.score, columns)
    unit = columns.column(scheme.unit)
    known = unit.known()
    eligible = (
        known & _in_window(scheme, columns, as_of) & (truths(scheme.eligible, columns) == 1) & figures_of_scores.known
    )
    groups = columns.derived(scheme.group_by, lambda score: tuple(map(score.value_of, scheme.group_by)))
    guard(len(unit.values), len(groups.values) + 1)
    key = unit.codes.astype(np.int64) * len(groups.values) + groups.codes
    rows, firsts = _numbered(key, known)
    which = np.flatnonzero(eligible)
    entries = _Entries(columns, which, rows[which], len(firsts), figures_of_scores, ascending=scheme.ascending)
    for limit in scheme.limit:
        _apply(limit, entries)
    facts = SeasonFacts(scheme.season.competitions or 0)
    counted = _counted(scheme, entries, facts)
    units, valued = _published(scheme, entries, counted)
    shown = np.flatnonzero(np.bincount(entries.rows[entries.kept], minlength=entries.count))
    if not len(shown):
        return None
    place = np.full(entries.count, -1, np.int64)
    place[shown] = np.arange(len(shown))
    refused = np.bincount(rows[known & ~eligible], minlength=entries.count)
    unknown = np.bincount(entries.rows[entries.unknown], minlength=entries.count)
    return Work(
        groups=list(groups.values),
        group_of=groups.codes[firsts[shown]].astype(np.int64),
        units_named=[as_text(value) if value is not None else "" for value in unit.values],
        unit_of=unit.codes[firsts[shown]].astype(np.int64),
        pair_of=columns.pairs[firsts[shown]],
        units=units[shown],
        valued=valued[shown],
        haves=_haves(scheme, entries)[:, shown],
        ineligible=(refused + unknown)[shown],
        ties=[_only(_tie(tie, entries, entries.kept if tie.of_all else counted), shown) for tie in scheme.ties],
        about=[_latest(entries, name, place, len(shown)) for name in scheme.fields_after],
        counted=_scores_by_row(entries, counted, place),
        dropped=_scores_by_row(entries, ~counted & ~entries.unknown, place),
        facts=facts,
    )


def _days(columns: Columns) -> Numbers:
    days = columns.column("date")
    return np.array([0 if day is None else day.toordinal() for day in days.values], np.int64)[days.codes]


def _in_window(scheme: Scheme, columns: Columns, as_of: date | None) -> Mask:
    days = columns.column("date")
    if as_of is None and scheme.season.rolling:
        as_of = max((days.values[code] for code in different(days.codes)[0].tolist()), default=None)
    window = scheme.season.window(as_of)
    return columns.derived(["date"], lambda score: bool(window.judge(score).truth)).as_mask()


def _numbered(key: Numbers, known: Mask) -> tuple[Rows, Numbers]:
    """Give numbers to the rows that scores belong to; return the row of each score, and the first score of each row."""
    rows = np.full(len(key), -1, np.int64)
    found, numbers = different(key[known])
    rows[known] = numbers
    return rows, np.flatnonzero(known)[first_of_each(numbers, len(found))]


def _apply(limit: Limit, entries: _Entries) -> None:
    """Keep so many scores of each heap, as ``scoring.season.limits`` does."""
    columns = entries.columns
    truth = truths(limit.where, columns)[entries.which]
    fields = limit.per if limit.keep == "best" else (*limit.per, "date")
    told = all_known(columns, fields)[entries.which]
    judged = entries.kept & (truth == 1) & told
    lost = entries.kept & ((truth == -1) | ((truth == 1) & ~told))
    heaps = entries.rows
    for name in limit.per:
        column = columns.column(name)
        guard(largest(heaps) + 1, len(column.values))
        heaps = heaps * len(column.values) + column.codes[entries.which]
    keys = [heaps, -entries.merits, entries.days] if limit.keep == "best" else [heaps, entries.days]
    order = entries.order(judged, keys)
    turn = turns(heaps[order])
    if limit.keep == "last":
        sizes = np.bincount(different(heaps[order])[1])
        turn = np.repeat(sizes, sizes) - 1 - turn
    entries.unknown |= lost
    entries.kept &= ~lost
    entries.kept[order[turn >= limit.number]] = False


def _counted(scheme: Scheme, entries: _Entries, facts: SeasonFacts) -> Mask:
    """Drop the lowest, then take: tell which scores the value is made of."""
    rule = scheme.value
    if rule is None or (rule.drop is None and rule.take is None):
        return entries.kept.copy()
    counted = entries.kept.copy()
    if rule.drop is not None:
        order = entries.order(counted, [entries.rows, -entries.merits, entries.days])
        sizes = np.bincount(entries.rows[order], minlength=entries.count)
        gone = np.where(sizes > rule.drop.when_more_than, np.minimum(rule.drop.number, sizes), 0)
        counted[order[turns(entries.rows[order]) >= (sizes - gone)[entries.rows[order]]]] = False
    if rule.take is not None:
        number = rule.take.number(facts)
        if rule.take.how == "best":
            order = entries.order(counted, [entries.rows, -entries.merits, entries.days])
            late = turns(entries.rows[order])
        else:
            order = entries.order(counted, [entries.rows, entries.days])
            sizes = np.bincount(entries.rows[order], minlength=entries.count)
            late = sizes[entries.rows[order]] - 1 - turns(entries.rows[order])
        counted[order[late >= number]] = False
    return counted


def _published(scheme: Scheme, entries: _Entries, counted: Mask) -> tuple[Numbers, Mask]:
    """Return the published figure of each row in units of its last decimal, and which rows have one."""
    rule = scheme.value
    count = entries.count
    if rule is None:
        return np.zeros(count, np.int64), np.zeros(count, np.bool_)
    rows = entries.rows[counted]
    sizes = np.bincount(rows, minlength=count).astype(np.int64)
    numerators, scale = _aggregated(rule.aggregate, entries, counted, sizes)
    guard(scale, len(rows) + 1)
    denominators = scale * (np.maximum(sizes, 1) if rule.aggregate == "mean" else np.ones(count, np.int64))
    if rule.add_per_score:
        more = rule.add_per_score
        guard(largest(denominators), largest(sizes), abs(more.numerator), 2)
        guard(largest(numerators), more.denominator, 2)
        numerators = numerators * more.denominator + more.numerator * sizes * denominators
        denominators = denominators * more.denominator
    guard(largest(numerators), 10**scheme.decimals)
    units = rounded(numerators * 10**scheme.decimals, denominators, rounding=scheme.rounding)
    return units, sizes > 0


def _aggregated(how: str, entries: _Entries, counted: Mask, sizes: Numbers) -> tuple[Numbers, int]:
    """Combine the numbers of each row; return numerators, and the denominator that they have in common."""
    rows, numbers = entries.rows[counted], entries.numbers[counted]
    if how in ("sum", "mean"):
        return sums(rows, numbers, entries.count), entries.scale
    if how == "count":
        return sizes, 1
    if how == "best":
        found, any_found = maxima(rows, entries.merits[counted], entries.count)
        best = np.where(any_found, found, 0)
        return (best if entries.merits is entries.numbers else -best), entries.scale
    guard(2, largest(numbers))
    guard(2, entries.scale)
    order = by_integers([rows, numbers])
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    low, high = starts + np.maximum(sizes - 1, 0) // 2, starts + sizes // 2
    ranked = np.concatenate((numbers[order], [0]))  # rows without any look at what stands behind
    return np.where(sizes > 0, ranked[low] + ranked[high], 0), 2 * entries.scale


def _haves(scheme: Scheme, entries: _Entries) -> NDArray[np.int64]:
    """Count, for each part of the requirements and of the tiers, what the scores of each row supply."""
    needs = [*needs_of(scheme.require)]
    for tier in scheme.tiers if scheme.mode == "achieve" else ():
        needs += needs_of(tier.require)
    if not needs:
        return np.zeros((0, entries.count), np.int64)
    return np.stack([_have(need, entries, entries.kept) for need in needs])


def _have(need: Need, entries: _Entries, among: Mask) -> Numbers:
    if need.where:
        among = among & (truths(need.where, entries.columns)[entries.which] == 1)
    rows = entries.rows[among]
    if need.count == "scores":
        return np.bincount(rows, minlength=entries.count).astype(np.int64)
    if need.count == "judges":
        return _judges(entries, among)
    supplied = entries.columns.derived(COUNT_FIELDS[need.count], COUNTS[need.count])
    return distinct(rows, _merged(entries.column(supplied), among), entries.count)


def _merged(column: Column, among: Mask) -> Column:
    """Return the column of some scores, with one code for each different value."""
    codes: dict[Any, int] = {}
    same = np.array([codes.setdefault(value, len(codes)) for value in column.values], np.int32)
    return Column(same[column.codes[among]], list(codes))


def _judges(entries: _Entries, among: Mask) -> Numbers:
    """Count judges: each score can supply one of its own, so that where any has several they have to be matched."""
    rows = entries.rows[among]
    judges = Column(
        entries.column(entries.columns.column("judges")).codes[among], entries.columns.column("judges").values
    )
    found = distinct(rows, judges, entries.count)
    several = np.array([value is not None and len(value) > 1 for value in judges.values], np.bool_)[judges.codes]
    if several.any():
        matched = np.zeros(entries.count, np.bool_)
        matched[rows[several]] = True
        choices: dict[int, list[tuple[str, ...]]] = {}
        chosen = matched[rows]
        for row, code in zip(rows[chosen].tolist(), judges.codes[chosen].tolist(), strict=True):
            choices.setdefault(row, []).append(judges.values[code] or ())
        for row, each in choices.items():
            found[row] = most_matched(each)
    return found


def _tie(tie: Tie, entries: _Entries, among: Mask) -> TieStep:  # noqa: PLR0911 - one return for each step
    """Return what a step compares of each row, as ``scoring.season.ties`` does."""
    if tie.where:
        among = among & (truths(tie.where, entries.columns)[entries.which] == 1)
    rows, merits, count = entries.rows[among], entries.merits[among], entries.count
    match tie.by:
        case "best-score" | "better-in":
            return _single(*maxima(rows, merits, count), entries.scale)
        case "next-best-scores":
            order = np.lexsort((-merits, rows))
            starts = np.concatenate(([0], np.cumsum(np.bincount(rows, minlength=count))))
            return TieStep(starts, merits[order], np.full(len(order), entries.scale))
        case "more-scores" | "fewer-scores":
            sizes = np.bincount(rows, minlength=count).astype(np.int64)
            return _single(sizes if tie.by == "more-scores" else -sizes, np.ones(count, np.bool_), 1)
        case "latest-score":
            latest, _ = maxima(rows, entries.days[among], count)
            last = entries.days[among] == latest[rows]
            return _single(*maxima(rows[last], merits[last], count), entries.scale)
        case "best-collectives" | "mean-percentage":
            return _of_field(tie.by, entries, among)
        case "most-firsts":
            firsts = entries.column(entries.columns.derived(["placing"], lambda score: score.placing == 1)).as_mask()
            return _single(np.bincount(entries.rows[among & firsts], minlength=count), np.ones(count, np.bool_), 1)
        case "more":
            return _single(_have(Need(tie.count), entries, among), np.ones(count, np.bool_), 1)
    raise NotColumnar


def _of_field(by: str, entries: _Entries, among: Mask) -> TieStep:
    field = figures(entries.columns.column("collectives" if by == "best-collectives" else "percentage"))
    among = among & field.known[entries.which]
    rows, units = entries.rows[among], field.units[entries.which][among]
    if by == "best-collectives":
        return _single(*maxima(rows, units, entries.count), field.scale)
    sizes = np.bincount(rows, minlength=entries.count).astype(np.int64)
    guard(field.scale, largest(sizes))
    step = _single(sums(rows, units, entries.count), sizes > 0, 1)
    return TieStep(step.starts, step.units, (field.scale * sizes)[sizes > 0])


def _single(units: Numbers, known: Mask, scale: int) -> TieStep:
    starts = np.concatenate(([0], np.cumsum(known)))
    return TieStep(starts, units[known].astype(np.int64), np.full(int(starts[-1]), scale, np.int64))


def _only(step: TieStep, rows: Numbers) -> TieStep:
    """Return the step for some rows only."""
    sizes = np.diff(step.starts)
    chosen = np.zeros(len(sizes), np.bool_)
    chosen[rows] = True
    held = np.repeat(chosen, sizes)
    return TieStep(np.concatenate(([0], np.cumsum(sizes[rows]))), step.units[held], step.scales[held])


def _latest(entries: _Entries, name: str, place: Numbers, count: int) -> list[Any]:
    """Return what the latest score of each row says of a field; limits do not matter here."""
    column = entries.column(entries.columns.column(name))
    order = entries.order(column.known(), [entries.rows, entries.days])
    found: list[Any] = [None] * count
    for row, code in zip(place[entries.rows[order]].tolist(), column.codes[order].tolist(), strict=True):
        if row >= 0:
            found[row] = column.values[code]
    return found


def _scores_by_row(entries: _Entries, which: Mask, place: Numbers) -> tuple[Numbers, Numbers]:
    """Return where the scores of each row begin, and their numbers in rising order within each row."""
    rows = place[entries.rows[which]]
    numbers = entries.columns.numbers[entries.which[which]]
    numbers, rows = numbers[rows >= 0], rows[rows >= 0]
    order = by_integers([rows, numbers])
    shown = int((place >= 0).sum())
    starts = np.concatenate(([0], np.cumsum(np.bincount(rows, minlength=shown))))
    return starts, numbers[order]
