"""A ``scores/1`` file, as CSV or as JSON lines, read and compared with who is known; nothing is written here.

``pair`` names a pair of this database by its key, or by the registrations of rider and horse with a hyphen between; any
other id makes a new pair, whose rider and horse are those that were decided on for files of the source, or shared with
other new pairs of the file of those names. A score that a class run here has posted is left alone, and refused with
other values: it is corrected in its class.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from riders import csvrows
from riders.csvrows import decoded, read_rows
from riders.intake import Problems, has_unstorable, one_line
from riders.models import Pair, Score
from riders.selectors.ledger import COLUMNS, score_record
from riders.services.ledger import ScoreRow
from riders.services.pair_book import PairBook
from scoring.documents import InvalidDocument, describe, load_json
from scoring.exact import format_exact
from scoring.season.ledger import Score as Read
from scoring.season.ledger import read_numbered_rows

_REQUIRED = ("score_id", "pair", "rider", "horse", "date", "competition", "status")
_LONGEST = {
    "score_id": 120,
    "pair": 90,
    "division": 60,
    "level": 60,
    "test": 120,
    "kind": 20,
    "competition": 120,
    "class": 120,
    "region": 60,
    "team": 80,
    "venue": 160,
    "owner": 120,
    "rider": 120,
    "horse": 120,
    "percentage": 20,
    "collectives": 20,
}
_FIGURES = ("percentage", "collectives")
_OLDEST_HORSE = 60


@dataclass(slots=True)
class ScoresRead:
    """What a file of scores says, compared with the pairs that are known; nothing is written yet.

    ``rows`` leaves out rows with problems, and those that a class run here has posted already (``of_classes``).
    """

    problems: Problems
    pairs: PairBook
    rows: list[tuple[int, ScoreRow]]
    of_classes: int


@dataclass(slots=True)
class Lines:
    """The rows of a file as they stand there and as read, with what is wrong with them; no database is asked yet."""

    problems: Problems
    rows: dict[int, Mapping[str, object]]
    read: list[tuple[int, Read]]


def read_lines(text: str | bytes) -> Lines:
    problems: Problems = []
    rows = dict(_numbered_rows(text, problems))
    return Lines(problems, rows, _read(rows, problems))


def read_scores(lines: Lines, *, source: str = "") -> ScoresRead:
    """Compare the rows of a file with the riders, horses and pairs that are known, without writing anything."""
    problems = list(lines.problems)
    pairs = PairBook(problems, source)
    fresh = _without_scores_of_classes(lines.read, problems)
    rows = []
    for number, score in fresh:
        before = len(problems)
        pair = pairs.read(number, score)
        if len(problems) == before:
            rows.append((number, _score_row(score, lines.rows[number], pair)))
    return ScoresRead(problems, pairs, rows, len(lines.read) - len(fresh))


def read_row(record: Mapping[str, str], *, pair: Pair) -> tuple[ScoreRow | None, Problems]:
    """Read one row as a file would be read, for another pair where ``pair`` of the record is not this one's key.

    Returns None and the problems, each under the name of its field, where it cannot be.
    """
    cells = {name: one_line(value) for name, value in record.items()}
    problems: Problems = []
    read = _read({1: cells}, problems)
    meant = pair if cells["pair"] == pair.key else Pair.objects.filter(key=cells["pair"]).first()
    if meant is None and cells["pair"]:
        sentence = f"There is no pair {describe(cells['pair'])}. Give the key of a pair that is known here."
        problems.append(("row 1, pair", sentence))
    if problems or meant is None:
        return None, [(where.removeprefix("row 1").removeprefix(", "), sentence) for where, sentence in problems]
    return _score_row(read[0][1], cells, meant), []


def _numbered_rows(text: str | bytes, problems: Problems) -> Iterator[tuple[int, Mapping[str, object]]]:
    plain = decoded(text, problems)
    if plain is None:
        return
    if not plain.lstrip().startswith("{"):
        for row in read_rows(plain, columns=COLUMNS, required=_REQUIRED, problems=problems):
            yield row.number, {column: one_line(cell) for column, cell in row.cells.items()}
        return
    for number, line in enumerate(plain.split("\n"), start=1):
        if number > csvrows.MOST_ROWS:
            problems.append(csvrows.too_many_rows())
            return
        if line.strip():
            try:
                row_read = load_json(line)
            except InvalidDocument as error:
                said = (problem.message.replace("at line 1, column", "at column") for problem in error.problems)
                problems += [(f"row {number}", sentence) for sentence in said]
                continue
            if isinstance(row_read, Mapping):
                yield number, {name: _as_in_a_cell(name, value) for name, value in row_read.items()}
            else:
                problems.append((f"row {number}", f"Here stands {describe(row_read)}. A score is an object in braces."))


def _as_in_a_cell(name: str, value: object) -> object:
    """Return a value of a JSON line as a CSV cell would hold it, so that both forms of a score are the same score."""
    if name == "judges" and isinstance(value, list) and all(isinstance(judge, str) for judge in value):
        value = ";".join(value)
    if name in _LONGEST and name not in _FIGURES and type(value) is int:
        value = str(value)
    return one_line(value) if isinstance(value, str) else value


def _read(rows: Mapping[int, Mapping[str, object]], problems: Problems) -> list[tuple[int, Read]]:
    """Read what can be read, noting the problems of fields, of what is missing and of what is too long."""
    found: list[tuple[int, Read]] = []
    first: dict[str, int] = {}
    for number, row in rows.items():
        try:
            (score,) = read_numbered_rows([(number, row)])
        except InvalidDocument as error:
            problems += [(problem.path.replace(".", ", ", 1), problem.message) for problem in error.problems]
            continue
        before = len(problems)
        problems += _missing_or_long(number, row)
        problems += _too_much(number, row, score)
        earlier = first.setdefault(score.score_id, number)
        if earlier != number:
            sentence = f"The score {describe(score.score_id)} stands already in row {earlier}. Remove one of the two."
            problems.append((f"row {number}, score_id", sentence))
        if len(problems) == before:
            found.append((number, score))
    return found


def _too_much(number: int, row: Mapping[str, object], score: Read) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with figures that are numbers, but none that a ledger keeps."""
    for name in _FIGURES:
        figure = _as_published(row.get(name), getattr(score, name))
        if len(figure) > _LONGEST[name]:
            sentence = f"{describe(figure)} has {len(figure)} characters, but at most {_LONGEST[name]} are kept."
            yield f"row {number}, {name}", f"{sentence} Give the figure as it was published."
    if score.horse_age is not None and score.horse_age > _OLDEST_HORSE:
        sentence = f"A horse of {score.horse_age} years is not kept. Give its age on the day, at most {_OLDEST_HORSE}."
        yield f"row {number}, horse_age", sentence


def _missing_or_long(number: int, row: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    for name in _REQUIRED:
        if row.get(name) in {None, ""}:
            yield f"row {number}, {name}", f'"{name}" is empty here, but the ledger needs it. Fill it in.'
    for name, value in row.items():
        if isinstance(value, str) and has_unstorable(value):
            yield f"row {number}, {name}", f'"{name}" holds a control character here. Type the text anew.'
        elif isinstance(value, str) and name not in _FIGURES and len(value) > _LONGEST.get(name, 2000):
            sentence = (
                f"{describe(value)} has {len(value)} characters, but at most {_LONGEST.get(name, 2000)} are kept."
            )
            yield f"row {number}, {name}", f"{sentence} Shorten it."


def _without_scores_of_classes(read: list[tuple[int, Read]], problems: Problems) -> list[tuple[int, Read]]:
    wanted = [score.score_id for _, score in read]
    of_classes = Score.objects.filter(source=Score.Source.CLASS).select_related("pair__rider", "pair__horse")
    own = {
        score.key: score_record(score)
        for start in range(0, len(wanted), 500)
        for score in of_classes.filter(key__in=wanted[start : start + 500])
    }
    for number, score in read:
        if score.score_id in own and read_numbered_rows([(number, own[score.score_id])])[0] != score:
            sentence = f"The score {describe(score.score_id)} comes from a class that was run here. Correct it there."
            problems.append((f"row {number}, score_id", sentence))
    return [(number, score) for number, score in read if score.score_id not in own]


def _score_row(score: Read, row: Mapping[str, object], pair: Pair) -> ScoreRow:
    assert score.date is not None  # noqa: S101 - a row without one has been refused
    return ScoreRow(
        key=score.score_id,
        source=Score.Source.IMPORT,
        pair=pair,
        date=score.date,
        competition=score.competition or "",
        status=score.status or "",
        class_name=score.class_id or "",
        division=score.division or "",
        level=score.level or "",
        test=score.test or "",
        highest_of_level=score.highest_of_level,
        kind=score.kind or "",
        judges=list(score.judges),
        percentage=_as_published(row.get("percentage"), score.percentage),
        collectives=_as_published(row.get("collectives"), score.collectives),
        placing=score.placing,
        starters=score.starters,
        hors_concours=score.hors_concours,
        recognised=score.recognised,
        member=score.member,
        region=score.region or "",
        team=score.team or "",
        venue=score.venue or "",
        owner=score.owner or "",
        horse_age=score.horse_age,
    )


def _as_published(raw: object, value: Fraction | None) -> str:
    """Keep a figure with the decimals it was published with: 67.500 is not 67.5 in a list, but 067.500 is 67.500."""
    if value is None:
        return ""
    if not isinstance(raw, str):
        return format_exact(value)
    plain = raw.strip().lstrip("-0")
    return plain if plain[:1].isdecimal() else f"0{plain}"
