"""What a season statement shows, read through the selectors of the season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from competitions.models import Competition, Test
from reports.pdf.season_statement import RequirementLine, ScoreLine, SeasonStatementData, TableStanding
from riders.models import Pair, Score, Season
from riders.selectors.places import PlacedRow
from riders.selectors.seasons import ExplainedScore, pair_statement
from scoring import season as season_rules


def season_statement_data(pair: Pair, season: Season) -> SeasonStatementData:
    statement = pair_statement(pair, season)
    names = _names_of([explained.score for explained in statement.scores])
    return SeasonStatementData(
        association=season.association.title,
        season=season.title,
        starts_on=season.starts_on,
        ends_on=season.ends_on,
        closed=season.closed_at is not None,
        version=season.version,
        as_of=season.computed_at,
        rider=pair.rider.name,
        horse=pair.horse.name,
        scheme=str(season.scheme),
        tables=tuple(_table(row, season) for row in statement.rows),
        scores=tuple(_score(explained, names) for explained in statement.scores),
        rule=statement.rule,
    )


def _table(row: PlacedRow, season: Season) -> TableStanding:
    wanted = _requirement_words(season)
    lines = row.requirements
    named = wanted if len(wanted) == len(lines) else [""] * len(lines)
    return TableStanding(
        group=", ".join(str(value) for value in row.group.values() if value) or "All",
        placing=row.placing,
        shared=row.shared,
        value=row.value,
        qualified=row.qualified,
        rows=row.row.table.size,
        tier=row.tier,
        requirements=tuple(_requirement(line, words) for line, words in zip(lines, named, strict=True)),
    )


def _requirement_words(season: Season) -> list[str]:
    """Return the requirements of the scheme in words, in the order in which a row lists them."""
    return [requirement.words() for requirement in season_rules.read_scheme(season.scheme.document).require]


def _requirement(line: Mapping[str, Any], words: str) -> RequirementLine:
    options = next((line[key] for key in ("any_of", "all_of") if key in line), None)
    if options is not None:
        parts = [_requirement(option, "") for option in options]
        return RequirementLine(
            words=words or (" or " if "any_of" in line else " and ").join(part.words for part in parts),
            have=", ".join(part.have for part in parts),
            need=", ".join(part.need for part in parts),
            met=line["met"],
        )
    most = "at_most" in line
    return RequirementLine(
        words=words or str(line["count"]).replace("_", " "),
        have=str(line["have"]),
        need=f"at most {line['at_most']}" if most else str(line["need"]),
        met=line["met"],
    )


def _names_of(scores: Sequence[Score]) -> Mapping[str, str]:
    """Return the titles of those competitions and tests that are known here by the ids which the ledger has."""
    shows = Competition.objects.filter(slug__in={score.competition for score in scores})
    tests = Test.objects.filter(key__in={score.test for score in scores})
    return dict(shows.values_list("slug", "title")) | dict(tests.values_list("key", "title"))


def _score(explained: ExplainedScore, names: Mapping[str, str]) -> ScoreLine:
    score = explained.score
    return ScoreLine(
        date=score.date,
        competition=names.get(score.competition) or score.venue or score.competition,
        class_name=f"Class {score.class_name}" if score.class_name else "",
        test=names.get(score.test, score.test),
        judges=tuple(score.judges),
        percentage=score.percentage or score.status,
        placing=score.placing,
        starters=score.starters,
        outcome=explained.outcome,
        sentence=explained.sentence,
    )
