"""Reading standings: tables of a season, and what one pair's season consists of."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from riders.models import Pair, Score, Season, StandingRow
from riders.selectors.ledger import scores_for_season, scores_in_force
from scoring import season as season_rules


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the standings; ``group`` maps the fields that it is grouped by to their values."""

    group: dict[str, str]
    rows: tuple[StandingRow, ...]

    @property
    def title(self) -> str:
        return ", ".join(value or "not stated" for value in self.group.values()) or "All"


@dataclass(frozen=True, slots=True)
class ExplainedScore:
    """A score with what became of it: counted, dropped or not eligible, and why in a sentence."""

    score: Score
    outcome: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Statement:
    """A pair's season: its row in each table, its scores with reasons, and the rule in sentences."""

    pair: Pair
    season: Season
    rows: tuple[StandingRow, ...]
    scores: tuple[ExplainedScore, ...]
    rule: tuple[str, ...]


def standings_tables(season: Season) -> tuple[Table, ...]:
    """Return the stored standings of a season as its tables, in their order."""
    rows = (
        StandingRow.objects.filter(season=season)
        .select_related("pair__rider", "pair__horse")
        .order_by("table", "position")
    )
    return tuple(Table(group=group, rows=tuple(members)) for group, members in groupby(rows, key=lambda row: row.group))


def pair_statement(pair: Pair, season: Season) -> Statement:
    """Return one pair's season with every score of it explained."""
    rows = tuple(
        StandingRow.objects.filter(season=season, pair=pair).select_related("season").order_by("table", "position")
    )
    reasons = {key: (outcome, sentence) for row in rows for key, outcome, sentence in row.explanations}
    reasons |= _reasons_without_a_row(pair, season, known=set(reasons))
    scores = scores_in_force().filter(pair=pair, date__range=(season.starts_on, season.ends_on)).order_by("date", "key")
    return Statement(
        pair=pair,
        season=season,
        rows=rows,
        scores=tuple(
            ExplainedScore(score, *reasons.get(score.key, ("not eligible", "It was posted after these standings.")))
            for score in scores
        ),
        rule=rule_sentences(season),
    )


def _reasons_without_a_row(pair: Pair, season: Season, *, known: set[str]) -> dict[str, tuple[str, str]]:
    """Return why the pair's other scores do not count: those of a group in which none counts, so that it has no row."""
    records = [record for record in scores_for_season(season) if record["pair"] == pair.key]
    if known.issuperset(record["score_id"] for record in records):
        return {}
    scheme = season_rules.read_scheme(season.scheme.document)
    computed = season_rules.compute_standings(scheme, season_rules.scores_from_rows(records))
    return {
        key: (outcome, sentence)
        for left_out in computed.left_out
        for key, outcome, sentence in left_out.explanations
        if key not in known
    }


def explained_scores(row: StandingRow) -> tuple[ExplainedScore, ...]:
    """Return the scores behind one row of the standings with what became of each."""
    reasons = {key: (outcome, sentence) for key, outcome, sentence in row.explanations}
    scores = scores_in_force().filter(key__in=list(reasons)).order_by("date", "key")
    return tuple(ExplainedScore(score, *reasons[score.key]) for score in scores)


def rule_sentences(season: Season) -> tuple[str, ...]:
    """Return the scheme of a season in plain sentences."""
    return tuple(season_rules.describe_scheme(season_rules.read_scheme(season.scheme.document)))
