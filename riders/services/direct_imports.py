"""Results of other shows taken in at once, without a person looking at them first: by a program or a command."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from riders.models import Association, Membership, User
from riders.services.bundle_import import read_bundle
from riders.services.ledger import ScoreRow
from riders.services.ledger_import import read_lines
from riders.services.ledger_preview import FileRead, WorkedOut
from riders.services.matching import source_from
from riders.services.taking_in import take_in


@dataclass(frozen=True, slots=True)
class ImportSummary:
    """How many scores an import posted, corrected, found as they were, and left out since they are there already."""

    posted: int
    corrected: int
    unchanged: int
    duplicate: int

    def __str__(self) -> str:
        left_out = f", {self.duplicate} left out, there already" if self.duplicate else ""
        return f"{self.posted} posted, {self.corrected} corrected, {self.unchanged} unchanged{left_out}"


@dataclass(frozen=True, slots=True)
class BundleImported:
    """What an import of a bundle did, in scores; ``by_members`` counts rides whose rider is a member on the day.

    ``by_members`` is None where the association keeps no memberships.
    """

    competition: str
    association: str
    classes: int
    posted: int
    corrected: int
    unchanged: int
    retracted: int
    duplicate: int
    by_members: int | None

    def __str__(self) -> str:
        scores = self.posted + self.corrected + self.unchanged
        said = (
            f"{self.competition}: {self.classes} class{'' if self.classes == 1 else 'es'} recomputed and found right; "
            f"{self.posted} scores posted, {self.corrected} corrected, {self.unchanged} unchanged, "
            f"{self.retracted} retracted."
        )
        if self.duplicate:
            said += f" {self.duplicate} left out: the ledger has these rides already."
        if self.by_members is None:
            return said
        return f"{said} {self.by_members} of {scores} rides are by members of {self.association}."


def import_scores(
    text: str | bytes,
    *,
    by: User | None,
    reason: str = "imported",
    source: str = "",
    rebuild: bool = True,
    dry_run: bool = False,
) -> ImportSummary:
    """Post the scores of a ``scores/1`` file, all of it or nothing; see :mod:`riders.services.taking_in`.

    Raises ``InvalidInput`` with every problem by row and column.
    """
    source = source_from(source)
    done = take_in(
        FileRead("", read_lines(text)), source=source, by=by, reason=reason, rebuild=rebuild, dry_run=dry_run
    )
    counts = done.preview.counts
    return ImportSummary(**{name: counts[name] for name in ImportSummary.__dataclass_fields__})


def import_bundle(
    bundle: object, *, association: Association, by: User | None, reason: str = "", dry_run: bool = False
) -> BundleImported:
    """Post the scores of a results bundle (``bundle/1``, parsed or as bytes or text) for an association."""
    read = read_bundle(bundle)
    why = (reason or f"results bundle of {read.title}")[:300]
    done = take_in(FileRead("", read), by=by, reason=why, dry_run=dry_run)
    counts = done.preview.counts
    return BundleImported(
        competition=read.title,
        association=association.title,
        classes=len(read.classes),
        posted=counts["posted"],
        corrected=counts["corrected"],
        unchanged=counts["unchanged"],
        retracted=counts["retracted"],
        duplicate=counts["duplicate"],
        by_members=_by_members(association, _rides_of(done)),
    )


def _rides_of(done: WorkedOut) -> Iterable[ScoreRow]:
    assert done.read is not None  # noqa: S101 - what could not be read has been refused
    return [row if isinstance(row, ScoreRow) else row[1] for row in done.read.rows]


def _by_members(association: Association, rows: Iterable[ScoreRow]) -> int | None:
    memberships: dict[int | None, list[Any]] = {}
    for row in Membership.objects.filter(association=association, kind=Membership.Kind.PERSON):
        memberships.setdefault(row.rider_id, []).append(row)
    if not memberships:
        return None
    return sum(
        any(
            held.starts_on <= row.date and (held.ends_on is None or row.date <= held.ends_on)
            for held in memberships.get(row.pair.rider_id, [])
        )
        for row in rows
    )
