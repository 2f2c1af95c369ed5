"""Reading standings: tables of a season, and what one pair's season consists of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from riders.models import Pair, Score, Season, SeasonEdition
from riders.selectors.details import Explanation, details_of
from riders.selectors.editions import as_frozen, edition_in_force, frozen_placed, frozen_records, frozen_scores
from riders.selectors.ledger import days_read, scores_in_force, season_ledger
from riders.selectors.places import PlacedRow, placed_rows, rows_one_by_one
from riders.selectors.standings_tables import shown_tables
from riders.selectors.titles import give_titles
from riders.selectors.units import units_of_pair
from scoring import season as season_rules
from scoring.season import Scheme
from scoring.season.value_reading import value_in_words


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the standings; ``group`` maps the fields that it is grouped by to their values."""

    group: dict[str, str]
    rows: tuple[PlacedRow, ...]

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
    rows: tuple[PlacedRow, ...]
    scores: tuple[ExplainedScore, ...]
    rule: tuple[str, ...]


def standings_tables(season: Season) -> tuple[Table, ...]:
    """Return the standings of a season as its tables, in their order; of a closed one those it stands by."""
    edition = edition_in_force(season)
    if edition is not None:
        tables = enumerate(edition.head["tables"])
        return tuple(Table(one["group"], tuple(frozen_placed(edition, table=number))) for number, one in tables)
    return tuple(Table(table.group, tuple(rows_one_by_one(table))) for table in shown_tables(season))


def pair_statement(pair: Pair, season: Season) -> Statement:
    """Return one pair's season with every score of it explained: its own rows, or those of the unit it belongs to.

    Of a closed season as it was when it was closed.
    """
    edition = edition_in_force(season)
    if edition is not None:
        return _frozen_statement(pair, season, edition)
    scheme = season_rules.read_scheme(season.scheme.document)
    scores = scores_in_force().filter(pair=pair, date__range=days_read(season)).order_by("date", "key")
    units = units_of_pair(scheme, pair, scores)
    rows = tuple(placed_rows(season.rows.filter(unit__in=units).order_by("table__number", "name_order")))
    details = details_of(season, [placed.row for placed in rows])
    reasons = {key: (outcome, sentence) for one in details.values() for key, outcome, sentence in one.explanations}
    if not reasons.keys() >= {score.key for score in scores}:
        reasons = _reasons_without_a_row(scheme, season, scores) | reasons
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


def _frozen_statement(pair: Pair, season: Season, edition: SeasonEdition) -> Statement:
    scheme = season_rules.read_scheme(season.scheme.document)
    own = [record for record in frozen_records(edition) if record["pair"] == pair.key]
    as_of = date.fromisoformat(edition.head["as_of"]) if edition.head.get("as_of") else None
    computed = season_rules.compute_standings(scheme, season_rules.scores_from_rows(own), as_of=as_of)
    units = {row.unit for row in computed.rows()} | {pair.key}
    about = season.rows.filter(Q(unit__in=units) | Q(pair=pair)).order_by("table__number", "name_order")
    rows = tuple(as_frozen(edition, placed_rows(about)))
    reasons = {key: (outcome, why) for left in computed.left_out for key, outcome, why in left.explanations}
    reasons |= {key: (outcome, why) for row in rows for key, outcome, why in row.row.explanations or ()}
    scores = frozen_scores(edition, {record["score_id"] for record in own} | set(reasons))
    explained = [ExplainedScore(score, *reasons[score.key]) for score in scores if score.key in reasons]
    return Statement(pair, season, rows, tuple(explained), tuple(edition.head["rule"]))


def _reasons_without_a_row(scheme: Scheme, season: Season, scores: QuerySet[Score]) -> dict[str, tuple[str, str]]:
    """Return why scores of a group in which none counts, so that it has no row, do not count."""
    ledger = season_ledger(season, scheme, among=scores.order_by())
    computed = season_rules.compute_standings(scheme, ledger.scores, as_of=season.stands_on)
    return {
        key: (outcome, sentence) for left_out in computed.left_out for key, outcome, sentence in left_out.explanations
    }


def explained_rows(season: Season, rows: Sequence[PlacedRow]) -> list[tuple[ExplainedScore, ...]]:
    """Return the scores behind rows of the standings, row by row, with what became of each."""
    details = details_of(season, [placed.row for placed in rows])
    return explained_scores([details[placed.pk].explanations for placed in rows], edition=edition_in_force(season))


def explained_scores(
    explanations: Sequence[Iterable[Explanation]], *, edition: SeasonEdition | None = None
) -> list[tuple[ExplainedScore, ...]]:
    """Return scores with what became of each, for each unit from what the scoring core says of it.

    The scores are those of the ledger, or as an edition has counted them.
    """
    keys = {key for one in explanations for key, _, _ in one}
    if edition is None:
        scores = list(scores_in_force().filter(key__in=keys).order_by("date", "key"))
    else:
        scores = frozen_scores(edition, keys)
    give_titles(scores)
    found = []
    for one in explanations:
        reasons = {key: (outcome, sentence) for key, outcome, sentence in one}
        found.append(tuple(ExplainedScore(score, *reasons[score.key]) for score in scores if score.key in reasons))
    return found


def rows_as_closed(season: Season, rows: Sequence[PlacedRow]) -> list[PlacedRow]:
    """Return rows of the standings as they stand; of a closed season with the names and figures it was closed with."""
    edition = edition_in_force(season)
    return list(rows) if edition is None else as_frozen(edition, rows)


def value_sentence(season: Season) -> str:
    """Return how the value of a season is worked out; empty where its scheme has none."""
    value = season_rules.read_scheme(season.scheme.document).value
    return "" if value is None else " ".join(value_in_words(value))


def rule_sentences(season: Season) -> tuple[str, ...]:
    """Return the scheme of a season in plain sentences."""
    return tuple(season_rules.describe_scheme(season_rules.read_scheme(season.scheme.document)))
