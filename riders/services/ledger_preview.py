"""What a file of scores would change in the ledger, worked out without changing it.

``state`` is a digest of the file and of everything that was worked out from it and the ledger: a confirmation that
names it is carried out only while the same would be worked out again, so a change of the ledger that matters to the
file is never confirmed unseen, and one that does not matter disturbs nobody.

A ride that the ledger has under another key (same pair, day, competition, class or test, status and percentage) is a
duplicate: it would count twice, so it is left out.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from fractions import Fraction
from typing import Any

from riders.csvrows import decoded
from riders.errors import InvalidInput
from riders.intake import Problems
from riders.models import Pair, Score, User
from riders.policy import concerned
from riders.selectors.histories import plain
from riders.services.bundle_import import BundleRead, BundleScores, bundle_scores, read_bundle
from riders.services.bundle_pairs import BundlePairs
from riders.services.ledger import COMPARED, ScoreRow, differs
from riders.services.ledger_import import Lines, ScoresRead, read_lines, read_scores
from riders.services.matching import Proposal, proposals_for
from riders.services.pair_book import PairBook
from scoring.documents import InvalidDocument, describe, load_json
from scoring.exact import parse_decimal

Numbered = tuple[str, ScoreRow]
_OF_OTHERS = (
    "is in the ledger with other values, and concerns no association that you keep. Leave it out, or ask those whom it "
    "concerns."
)
_SHOWN = [name for name in COMPARED if name != "source"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One score that would change. ``where`` is its row of the file; ``differences`` are (field, before, after).

    ``what`` is posted, corrected, retracted or duplicate; a duplicate is ``same_as`` another score or row.
    """

    what: str
    key: str
    where: str
    pair: str
    new_pair: bool
    date: str
    competition: str
    class_name: str
    test: str
    figure: str
    differences: tuple[tuple[str, str, str], ...] = ()
    same_as: str = ""

    @property
    def day(self) -> dt.date:
        return dt.date.fromisoformat(self.date)


@dataclass(frozen=True, slots=True)
class OpenName:
    """A name of the file on which nobody has decided: who may be meant, or nobody, so that someone new is made."""

    kind: str
    spelling: str
    proposals: tuple[Proposal, ...]

    @property
    def several_same(self) -> bool:
        """Tell whether namesakes to the letter are known, so that none is likelier than the other."""
        return sum(proposal.same for proposal in self.proposals) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """Everything that a file would do, and everything that is wrong with it."""

    kind: str
    digest: str
    state: str
    unchanged: int
    changes: tuple[Change, ...]
    names: tuple[OpenName, ...]
    problems: tuple[tuple[str, str], ...]

    def of(self, what: str) -> list[Change]:
        return [change for change in self.changes if change.what == what]

    @property
    def counts(self) -> dict[str, int]:
        return {what: len(self.of(what)) for what in ("posted", "corrected", "retracted", "duplicate")} | {
            "unchanged": self.unchanged
        }

    @property
    def to_decide(self) -> list[OpenName]:
        """Return the names that are like known ones: someone has to say who is meant."""
        return [name for name in self.names if name.proposals]

    @property
    def new_names(self) -> list[OpenName]:
        return [name for name in self.names if not name.proposals]

    def as_document(self) -> dict[str, Any]:
        plain = {field.name: getattr(self, field.name) for field in fields(self)}
        return plain | {
            "changes": [_shallow(change) for change in self.changes],
            "names": [asdict(n) for n in self.names],
        }

    @classmethod
    def of_document(cls, document: Mapping[str, Any]) -> Preview:
        """Return a preview as it was kept.

        >>> empty = Preview(kind="scores", digest="", state="", unchanged=0, changes=(), names=(), problems=())
        >>> Preview.of_document(empty.as_document()) == empty
        True
        """
        values = {field.name: document[field.name] for field in fields(cls)}
        values["changes"] = tuple(
            Change(**{**change, "differences": tuple(tuple(one) for one in change["differences"])})
            for change in document["changes"]
        )
        values["names"] = tuple(
            OpenName(name["kind"], name["spelling"], tuple(Proposal(**one) for one in name["proposals"]))
            for name in document["names"]
        )
        values["problems"] = tuple((where, sentence) for where, sentence in document["problems"])
        return cls(**values)


def _shallow(change: Change) -> dict[str, Any]:
    """Return a change as a dictionary; ``asdict`` copies deeply, which a hundred thousand changes feel."""
    return {name: getattr(change, name) for name in Change.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class FileRead:
    """A file as read: its rows, or the bundle it is, or why it cannot be one."""

    digest: str
    said: Lines | BundleRead | InvalidInput


@dataclass(slots=True)
class WorkedOut:
    """A preview with what is needed to carry it out: the rows to post, and the scores of their keys as they stand."""

    preview: Preview
    rows: list[ScoreRow]
    known: dict[str, Score]
    left: set[str]
    read: ScoresRead | BundleScores | None


def preview_import(content: bytes, *, source: str = "", by: User | None = None) -> Preview:
    """Say what a file (``scores/1`` as CSV or JSON lines, or a results bundle) would change; nothing is written."""
    return work_out(read_file(content), source=source, by=by).preview


def read_file(content: bytes) -> FileRead:
    """Read a file, recompute it if it is a bundle, asking no database: the long part, before others wait."""
    digest = hashlib.sha256(content).hexdigest()
    if not is_bundle(content):
        return FileRead(digest, read_lines(content))
    try:
        return FileRead(digest, read_bundle(content))
    except InvalidInput as refused:
        return FileRead(digest, refused)


def work_out(read: FileRead, *, source: str, by: User | None) -> WorkedOut:
    """Work a file out against the ledger as it stands; what ``by`` may not change in it is a problem.

    Without ``by``, on the command line, everything may be changed. Nothing is written.
    """
    if isinstance(read.said, Lines):
        return _of_scores(read.digest, read.said, source, by)
    return _of_bundle(read.digest, read.said, source, by)


def is_bundle(content: bytes) -> bool:
    """Tell a bundle, one JSON object that has classes, from rows of scores."""
    text = decoded(content, [])
    if text is None or not text.lstrip().startswith("{") or '"classes"' not in text:
        return False
    try:
        document = load_json(text)
    except InvalidDocument:
        return False
    return isinstance(document, Mapping) and "classes" in document and "score_id" not in document


def _of_scores(digest: str, lines: Lines, source: str, by: User | None) -> WorkedOut:
    read = read_scores(lines, source=source)
    rows = [(f"row {number}", row) for number, row in read.rows]
    changes, posted, known, unchanged = _changes(rows, ())
    problems = [*read.problems, *_of_others(changes, by)]
    preview = _preview("scores", digest, source, changes, unchanged + read.of_classes, read.pairs, problems)
    return WorkedOut(preview, posted, known, set(), read)


def _of_bundle(digest: str, said: BundleRead | InvalidInput, source: str, by: User | None) -> WorkedOut:
    try:
        if isinstance(said, InvalidInput):
            raise said
        read = bundle_scores(said, source=source)
    except InvalidInput as refused:
        problems = refused.problems or [("", refused.message)]
        return WorkedOut(_preview("bundle", digest, source, (), 0, None, problems), [], {}, set(), None)
    changes, posted, known, unchanged = _changes([("", row) for row in read.rows], read.left)
    problems = _of_others(changes, by)
    preview = _preview("bundle", digest, source, changes, unchanged, read.pairs, problems)
    return WorkedOut(preview, posted, known, read.left, read)


def _of_others(changes: Sequence[Change], by: User | None) -> Problems:
    """Say which scores would be changed that concern no association which this person keeps."""
    known = {change.key: change.where for change in changes if change.what in {"corrected", "retracted"}}
    if by is None or by.is_staff or not known:
        return []
    keys = sorted(known)
    theirs: set[str] = set()
    for start in range(0, len(keys), 500):
        scores = concerned(by, Score.objects.filter(key__in=keys[start : start + 500]))
        theirs.update(scores.values_list("key", flat=True))
    return [
        (
            f"{known[key]}, score_id" if known[key] else key,
            f"The score {describe(key)} {_OF_OTHERS}",
        )
        for key in keys
        if key not in theirs
    ]


def _preview(
    kind: str,
    digest: str,
    source: str,
    changes: Sequence[Change],
    unchanged: int,
    pairs: PairBook | BundlePairs | None,
    problems: Problems,
) -> Preview:
    names = () if pairs is None else _open_names(pairs)
    state = hashlib.sha256(f"{digest} {source!r} {unchanged}".encode())
    for change in changes:
        state.update(repr(change).encode("utf-8", "backslashreplace"))
    for name in names:
        state.update(repr((name.kind, name.spelling, [proposal.id for proposal in name.proposals])).encode())
    return Preview(
        kind=kind,
        digest=digest,
        state=state.hexdigest(),
        unchanged=unchanged,
        changes=tuple(changes),
        names=names,
        problems=tuple(sorted(problems, key=_row_number)),
    )


def _row_number(problem: tuple[str, str]) -> int:
    first, _, rest = problem[0].partition(" ")
    number = rest.partition(",")[0]
    return int(number) if first == "row" and number.isdecimal() else 0


def _open_names(pairs: PairBook | BundlePairs) -> tuple[OpenName, ...]:
    """Return the names on which nobody has decided, with those who may be meant.

    A name that comes with a registration of its own cannot mean someone who has another one.
    """
    wanted = sorted(pairs.fresh.undecided())
    found: list[OpenName] = []
    for kind in ("rider", "horse"):
        spellings = [spelling for other, spelling in wanted if other == kind]
        proposals = proposals_for(kind, spellings)
        for spelling in spellings:
            likely = proposals.get(spelling, ())
            if (kind, spelling) in pairs.registered:
                likely = tuple(proposal for proposal in likely if not proposal.registration)
            found.append(OpenName(kind, spelling, likely))
    return tuple(found)


def _changes(
    rows: Sequence[Numbered], left: Iterable[str]
) -> tuple[list[Change], list[ScoreRow], dict[str, Score], int]:
    """Return what would change, the rows to post, known scores of their keys, and how many stand there as they are."""
    known = {score.key: score for score in _scores("key", (row.key for _, row in rows))}
    rides = _Rides(row for _, row in rows if row.key not in known)
    changes: list[Change] = []
    posted: list[ScoreRow] = []
    for where, row in rows:
        score = known.get(row.key)
        if score is not None and not differs(score, row):
            continue
        new_pair = row.pair.pk is None
        if score is not None:
            changes.append(
                _change("corrected", where, row, new_pair, differences=differences(score, row, new_pair=new_pair))
            )
        elif same_as := rides.same_as(row, where):
            changes.append(_change("duplicate", where, row, new_pair, same_as=same_as))
            continue
        else:
            changes.append(_change("posted", where, row, new_pair))
        posted.append(row)
    changes += [_retracted(score) for score in _scores("key", left)]
    return changes, posted, known, len(rows) - sum(change.what != "retracted" for change in changes)


def _scores(field: str, values: Iterable[object]) -> Iterator[Score]:
    wanted = list(values)
    for start in range(0, len(wanted), 500):
        found = Score.objects.filter(**{f"{field}__in": wanted[start : start + 500]})
        yield from found.select_related("pair__rider", "pair__horse").order_by("pk")


class _Rides:
    """The rides of the ledger that new rows may be a second time, and those of the rows before."""

    def __init__(self, rows: Iterable[ScoreRow]) -> None:
        self.seen: dict[tuple[object, ...], list[tuple[str, str, str]]] = {}
        wanted = list(rows)
        if not wanted:
            return
        first, last = min(row.date for row in wanted), max(row.date for row in wanted)
        pairs = sorted({row.pair.pk for row in wanted if row.pair.pk is not None})
        in_force = Score.objects.filter(retracted_at__isnull=True, date__range=(first, last))
        for start in range(0, len(pairs), 500):
            for score in in_force.filter(pair__in=pairs[start : start + 500]).order_by("pk"):
                self._add(score.pair_id, score, score.key)

    def same_as(self, row: ScoreRow, where: str) -> str:
        """Return which score or earlier row is the same ride, or nothing, and remember this one."""
        pair = row.pair.pk or id(row.pair)
        for class_name, test, name in self.seen.get(self._place(pair, row), ()):
            same_class = class_name == row.class_name if class_name and row.class_name else None
            if same_class or (same_class is None and test and test == row.test):
                return name
        self._add(pair, row, where or row.key)
        return ""

    def _add(self, pair: int, row: Score | ScoreRow, name: str) -> None:
        self.seen.setdefault(self._place(pair, row), []).append((row.class_name, row.test, name))

    @staticmethod
    def _place(pair: int, row: Score | ScoreRow) -> tuple[object, ...]:
        return pair, row.date, row.competition, row.status, _exact(row.percentage)


def _exact(figure: str) -> Fraction | str:
    try:
        return parse_decimal(figure) if figure else ""
    except ValueError:
        return figure


def _change(what: str, where: str, row: ScoreRow, new_pair: bool, **more: Any) -> Change:
    return Change(
        what=what,
        key=row.key,
        where=where,
        pair=str(row.pair),
        new_pair=new_pair,
        date=row.date.isoformat(),
        competition=row.competition,
        class_name=row.class_name,
        test=row.test,
        figure=row.percentage or row.status,
        **more,
    )


def _retracted(score: Score) -> Change:
    return Change(
        what="retracted",
        key=score.key,
        where="",
        pair=str(score.pair),
        new_pair=False,
        date=score.date.isoformat(),
        competition=score.competition,
        class_name=score.class_name,
        test=score.test,
        figure=score.percentage or score.status,
    )


def differences(score: Score, row: ScoreRow, *, new_pair: bool = False) -> tuple[tuple[str, str, str], ...]:
    """Return (field, before, after) for each field that a row would change, in the words of ``scores/1``."""
    found = [] if score.retracted_at is None else [("in force", "no", "yes")]
    if score.pair_id != row.pair.pk:
        found.append(("pair", _named(score.pair), f"{row.pair} (new)" if new_pair else _named(row.pair)))
    for name in _SHOWN:
        before, after = plain(getattr(score, name)), plain(getattr(row, name))
        if before != after:
            found.append(("class" if name == "class_name" else name, before, after))
    return tuple(found)


def _named(pair: Pair) -> str:
    return f"{pair} ({pair.key})"
