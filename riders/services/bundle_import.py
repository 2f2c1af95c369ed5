"""Results bundles of other shows, recomputed and read; nothing is posted here.

Every class is recomputed and the digest compared first: any difference refuses the whole bundle with all of them listed
(code ``bundle-differs``). Scores get the keys that they have at the show of origin, so that the same bundle twice, and
the bundle of a show that was run here, change nothing. Rides that an earlier revision had and this one has no more are
to be retracted. A score that a class run here has posted is never changed: other figures for it are problems.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import cast

import scoring
from riders.errors import InvalidInput
from riders.intake import Problems, day_from, line_from, refuse, refused_document, slug_from
from riders.models import Score
from riders.services.bundle_pairs import BundlePairs, People, people_from
from riders.services.ledger import ScoreRow
from scoring.bundles import verify_bundle
from scoring.documents import Problem, Reader, describe
from scoring.results import EntryResult

_NOT_STARTED = ("withdrawn", "no-show")
_LONGEST_NUMBER, _LONGEST_FIGURE = 10, 20


@dataclass(frozen=True, slots=True)
class _Show:
    """What a bundle says of its competition."""

    slug: str
    title: str
    venue: str
    recognised: bool | None


@dataclass(frozen=True, slots=True)
class _Class:
    """What a bundle says of one class, with its rides worked out anew, hors concours among them."""

    id: str
    number: str
    day: date
    level: str
    division: str
    test: str
    highest_of_level: bool | None
    kind: str
    judges: tuple[str, ...]
    venue: str
    recognised: bool | None
    people: Mapping[str, People]
    teams: Mapping[str, str]
    results: Mapping[str, EntryResult]
    starters: int


@dataclass(frozen=True, slots=True)
class BundleRead:
    """A bundle that has been recomputed and found right, before any database is asked."""

    show: _Show
    classes: tuple[_Class, ...]

    @property
    def title(self) -> str:
        return self.show.title


@dataclass(frozen=True, slots=True)
class BundleScores:
    """The rows that a bundle has for the ledger, its pairs, and the keys of scores that it has no more."""

    rows: list[ScoreRow]
    pairs: BundlePairs
    left: set[str]


def read_bundle(bundle: object) -> BundleRead:
    """Recompute and read a bundle; raises ``InvalidInput`` with every difference or problem."""
    document = _verified(bundle)
    problems: list[Problem] = []
    show, classes = _read(document, problems)
    refuse([(problem.path, problem.message) for problem in problems], what="the bundle")
    return BundleRead(show, tuple(classes))


def bundle_scores(read: BundleRead, *, source: str = "") -> BundleScores:
    """Compare a bundle with the pairs and scores that are known and return its rows; nothing is written."""
    problems: Problems = []
    pairs = BundlePairs((people for one in read.classes for people in one.people.values()), problems, source=source)
    rows = [row for one in read.classes for row in _rows(read.show, one, pairs)]
    refuse(problems, what="the bundle")
    rows = _with_scores_of_classes(rows, problems)
    refuse(problems, what="the bundle")
    return BundleScores(rows, pairs, _left(read.classes, rows))


def _verified(bundle: object) -> Mapping[str, object]:
    try:
        document = scoring.load_json(bundle) if isinstance(bundle, str | bytes) else bundle
        differences = verify_bundle(document)
    except scoring.InvalidDocument as error:
        raise refused_document(error, what="The bundle") from error
    if differences:
        count = "1 figure is" if len(differences) == 1 else f"{len(differences)} figures are"
        raise InvalidInput(
            f"Nothing was imported: {count} not what is recomputed from the marks. Ask the show office for the bundle "
            "as it made it.",
            problems=[(found.path, found.message) for found in differences],
            code="bundle-differs",
        )
    return cast("Mapping[str, object]", document)


def _read(document: Mapping[str, object], problems: list[Problem]) -> tuple[_Show, list[_Class]]:
    reader = Reader.over(document, problems=problems)
    competition = reader.take_object("competition", required=True) or Reader.over({})
    show = _Show(
        slug=slug_from(competition, "id", most=60),
        title=line_from(competition, "title", most=160, required=True),
        venue=line_from(competition, "venue", most=160),
        recognised=competition.take_bool("recognised") if competition.has("recognised") else None,
    )
    return show, [_class(claim, show) for claim in reader.objects("classes")]


def _class(claim: Reader, show: _Show) -> _Class:
    reader = claim.take_object("class") or Reader.over({})
    number = line_from(reader, "x-number", most=10, required=True)
    identity = reader.take_text("id")
    if number and identity != f"{show.slug}/{number}":
        sentence = (
            f"The class is {describe(identity)}, but class {number} of {show.slug} would be {show.slug}/{number}."
        )
        reader.problem("id", sentence)
    test = reader.take_object("test") or Reader.over({}, path=reader.at("test"), problems=reader.problems)
    results = _recomputed(reader.value)
    entries = {str(entry.value["number"]): entry for entry in reader.objects("entries")}
    found = _Class(
        id=identity,
        number=number,
        day=day_from(reader, "x-date"),
        level=line_from(reader, "x-level", most=60) or line_from(test, "level", most=60),
        division=line_from(reader, "x-division", most=60),
        test=line_from(test, "id", most=120),
        highest_of_level=test.take_bool("highest_of_level") if test.value else None,
        kind=test.take_text("kind", default="set") if test.value else "",
        judges=tuple(_judge(seat) for seat in reader.objects("panel")),
        venue=line_from(reader, "x-venue", most=160) or show.venue,
        recognised=reader.take_bool("x-recognised") if reader.has("x-recognised") else show.recognised,
        people={number: people_from(entry) for number, entry in entries.items()},
        teams={number: line_from(entry, "team", most=80) for number, entry in entries.items()},
        results={row.number: row for row in results},
        starters=sum(row.status not in _NOT_STARTED and not row.hors_concours for row in results),
    )
    for entry_number, entry in entries.items():
        _check_entry(entry, found, entry_number)
    return found


def _check_entry(reader: Reader, one: _Class, number: str) -> None:
    """Report what a ledger cannot hold, or what cannot be."""
    if len(number) > _LONGEST_NUMBER:
        message = f"The number {describe(number)} has {len(number)} characters, but at most {_LONGEST_NUMBER} are kept."
        reader.problem("number", message)
    collectives = one.results[number].collectives
    if collectives is not None and len(collectives) > _LONGEST_FIGURE:
        reader.problem("sheets", f"The collective marks come to {collectives}, which is too long for a ledger.")
    born = one.people[number].born
    if born is not None and date.min < one.day and born > one.day.year:
        reader.problem("x-horse-born", f"The horse is born in {born}, after the ride. Correct the year.")


def _judge(seat: Reader) -> str:
    return line_from(seat, "x-judge", most=120) or line_from(seat, "seat", most=10)


def _recomputed(document: Mapping[str, object]) -> tuple[EntryResult, ...]:
    """Work the class out with hors concours listed whatever its rule set publishes: the ledger keeps those rides."""
    rules = {**cast("Mapping[str, object]", document["rules"]), "hors_concours": "listed"}
    read = scoring.read_class({**document, "rules": rules})
    return scoring.compute_results(read, working=False).entries


def _rows(show: _Show, one: _Class, pairs: BundlePairs) -> Iterable[ScoreRow]:
    for number, people in one.people.items():
        result, pair = one.results[number], pairs.pair(people)
        if pair is None:
            continue
        born = None if people.born is None else one.day.year - people.born
        yield ScoreRow(
            key=f"{one.id}/{result.number}",
            source=Score.Source.IMPORT,
            pair=pair,
            date=one.day,
            competition=show.slug,
            class_name=one.number,
            division=one.division,
            level=one.level,
            test=one.test,
            highest_of_level=one.highest_of_level,
            kind=one.kind,
            judges=list(one.judges),
            percentage=result.total or "",
            collectives=result.collectives or "",
            placing=result.placing,
            starters=one.starters,
            status=result.status,
            hors_concours=result.hors_concours,
            recognised=one.recognised,
            venue=one.venue,
            owner=people.owner,
            team=one.teams[number],
            horse_age=born if people.age is None else people.age,
        )


def _with_scores_of_classes(rows: list[ScoreRow], problems: Problems) -> list[ScoreRow]:
    """Let rows of classes that were run here stand for the scores that these have posted, if they say the same."""
    keys = {row.key for row in rows}
    own = {score.key: score for score in Score.objects.filter(source=Score.Source.CLASS, key__in=keys)}
    found = []
    for row in rows:
        score = own.get(row.key)
        if score is None:
            found.append(row)
            continue
        differing = _differing(score, row)
        if score.retracted_at is not None:
            problems.append((row.key, "The class was run here, and its results were withdrawn. Ask its office."))
        elif differing:
            said = ", ".join(differing)
            problems.append((row.key, f"The class was run here and says otherwise ({said}). Correct it in the class."))
        found.append(replace(row, source=Score.Source.CLASS))
    return found


def _differing(score: Score, row: ScoreRow) -> list[str]:
    names = [found.name for found in fields(ScoreRow) if found.name not in {"key", "source", "pair", "judges"}]
    differing = [name for name in names if getattr(score, name) != getattr(row, name)]
    differing += ["judges"] if score.judges != list(row.judges) else []
    return differing + (["pair"] if score.pair_id != row.pair.pk else [])


def _left(classes: Iterable[_Class], rows: Iterable[ScoreRow]) -> set[str]:
    """Name the scores in force that came from these classes by import and that the bundle has no more."""
    there: set[str] = set()
    for one in classes:
        imported = Score.objects.filter(source=Score.Source.IMPORT, retracted_at__isnull=True)
        there |= set(imported.filter(key__startswith=f"{one.id}/").values_list("key", flat=True))
    return there - {row.key for row in rows}
