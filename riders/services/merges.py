"""Riders, horses and pairs that stand here twice made one, and made two again.

Nothing is guessed: a person names the two, sees what would be moved, and gives a reason. Scores, entries, memberships
and remembered spellings follow (see :mod:`riders.services.merge_steps` for how they are found), the key of a pair that
goes goes on naming the pair that stays, and the standings of the touched seasons are worked out anew.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, Q
from django.utils import timezone

from riders.errors import Conflict, NotAllowed
from riders.intake import reason_from
from riders.models import Horse, Membership, Merge, Pair, Rider, Score, Season, User
from riders.selectors.ledger import reads_one_of
from riders.services import followers
from riders.services.closed import open_seasons
from riders.services.merge_steps import (
    Step,
    fill,
    move,
    name_of,
    relations_to,
    remove,
    rows_added_to,
    rows_changed,
    take_back,
)
from riders.services.namesakes import tell_apart
from riders.services.standings import store_standings
from riders.transactions import take_ledger_turn, write_transaction
from scoring.documents import describe

Member = Rider | Horse | Pair
_FILLED: dict[type, tuple[str, ...]] = {
    Rider: ("registration", "email", "user_id"),
    Horse: ("registration", "born", "owner_id"),
    Pair: (),
}
_MODELS: dict[str, type[Member]] = {"rider": Rider, "horse": Horse, "pair": Pair}


@dataclass(frozen=True, slots=True)
class MergePlan:
    """What making two rows one would do: what stands against it, and how many rows of each kind would be moved."""

    kept: Member
    gone: Member
    conflicts: tuple[str, ...]
    moved: tuple[tuple[str, int], ...]


def plan_merge(kept: Member, gone: Member) -> MergePlan:
    """Say what a merge would do, without doing it."""
    counts: dict[type[Model], int] = {}
    for owner in (gone, *(pair for pair, _ in _doubled_pairs(kept, gone))):
        for pointing, field in relations_to(type(owner)):
            found = pointing._default_manager.filter(**{field: owner.pk}).count()  # noqa: SLF001
            if found and pointing._meta.label_lower != "riders.standingrow":  # noqa: SLF001 - worked out anew
                counts[pointing] = counts.get(pointing, 0) + found
    moved = tuple(sorted((name_of(model, found), found) for model, found in counts.items()))
    return MergePlan(kept, gone, tuple(_conflicts(kept, gone)), moved)


def merge(kept: Member, gone: Member, *, by: User | None, reason: str) -> Merge:
    """Make the two one: ``gone`` goes, and everything that points to it points to ``kept``.

    What is not known of ``kept`` (registration, year of birth, account) is taken from ``gone``. Raises ``Conflict``
    with a sentence for everything that stands against it.
    """
    reason = reason_from(reason)
    with write_transaction():
        take_ledger_turn()
        kept, gone = (_locked(row) for row in (kept, gone))
        conflicts = _conflicts(kept, gone)
        if conflicts:
            raise Conflict(" ".join(conflicts))
        seasons = seasons_of(kept, gone)
        touched = pairs_of(kept, gone)
        steps, keys = _carry_out(kept, gone)
        done = Merge.objects.create(
            kind=type(kept).__name__.lower(),
            kept=kept.pk,
            gone=gone.pk,
            kept_name=str(kept),
            gone_name=str(gone),
            steps=steps,
            keys=keys,
            by=by,
            reason=reason,
        )
        _follow(touched, seasons)
    return done


def undo_merge(done: Merge, *, by: User | None, reason: str) -> Merge:
    """Make two of one again: every step is taken back, the last one first.

    What has come to the kept row since stays with it. Raises ``Conflict`` where a later merge has to be undone first,
    or where something new stands in the place of what went.
    """
    reason = reason_from(reason)
    with write_transaction():
        take_ledger_turn()
        current = Merge.objects.select_for_update().get(pk=done.pk)
        if current.undone_at is not None:
            raise NotAllowed("This merge has been undone already.", code="merge-undone")
        later = _later_one(current)
        if later is not None:
            raise Conflict(f"{later} was merged later. Undo that merge first, then this one.")
        notes = [note for step in reversed(current.steps) for note in take_back(step)]
        current.undone_at, current.undone_by, current.undo_reason = timezone.now(), by, reason
        current.undo_notes = notes
        current.save()
        kept, gone = (_MODELS[current.kind]._default_manager.get(pk=pk) for pk in (current.kept, current.gone))  # noqa: SLF001
        _follow(pairs_of(kept, gone), seasons_of(kept, gone))
    return current


def _locked(row: Member) -> Member:
    found = type(row)._default_manager.select_for_update().filter(pk=row.pk).first()  # noqa: SLF001
    if found is None:
        raise Conflict(f"{row} is not there any more: it was merged or removed since you looked. Look again.")
    return found


def _doubled_pairs(kept: Member, gone: Member) -> list[tuple[Pair, Pair]]:
    """Return the (going, staying) pairs that would be the same pair twice once the two riders or horses are one."""
    if isinstance(kept, Pair):
        return []
    own, other = ("rider", "horse") if isinstance(kept, Rider) else ("horse", "rider")
    staying = {getattr(pair, f"{other}_id"): pair for pair in Pair.objects.filter(**{own: kept.pk})}
    going = Pair.objects.filter(**{own: gone.pk}).select_related("rider", "horse").order_by("pk")
    return [(pair, staying[getattr(pair, f"{other}_id")]) for pair in going if getattr(pair, f"{other}_id") in staying]


def _conflicts(kept: Member, gone: Member) -> list[str]:
    if type(kept) is not type(gone):
        return [f"A {type(kept).__name__.lower()} and a {type(gone).__name__.lower()} cannot be one. Choose two alike."]
    if kept.pk == gone.pk:
        return ["These are the same row. Choose another one to be merged."]
    if isinstance(kept, Pair) and isinstance(gone, Pair):
        return [*_different_members(kept, gone), *_rides_in_common({kept.pk}, {gone.pk})]
    assert not isinstance(kept, Pair)  # noqa: S101 - said above, for the type checker
    found = _both_have(kept, gone)
    for going, staying in _doubled_pairs(kept, gone):
        found += _rides_in_common({staying.pk}, {going.pk})
    if isinstance(kept, Horse):
        own = {pair.pk for pair in kept.pairs.all()}
        found += [said for said in _rides_in_common(own, pairs_of(gone)) if said not in found]
    return found


def _both_have(kept: Rider | Horse, gone: Member) -> list[str]:
    kind = type(kept).__name__.lower()
    words = {"registration": "a registration", "user_id": "an account", "born": "a year of birth"}
    found = []
    for name, word in words.items():
        one, other = getattr(kept, name, None), getattr(gone, name, None)
        if one and other and one != other:
            figures = "" if name == "user_id" else f" ({one} and {other})"
            found.append(
                f"Both {kind}s have {word}{figures}, so they are two. Correct what is wrong about one of them first."
            )
    return found


def _different_members(kept: Pair, gone: Pair) -> list[str]:
    found = []
    for kind in ("rider", "horse"):
        if getattr(kept, f"{kind}_id") != getattr(gone, f"{kind}_id"):
            one, other = describe(getattr(kept, kind).name), describe(getattr(gone, kind).name)
            found.append(f"The pairs have different {kind}s, {one} and {other}. Merge the {kind}s first.")
    return found


def _rides_in_common(kept: Collection[int], gone: Collection[int]) -> list[str]:
    """Say in which classes both are entered, or have a score of the ledger: nobody rides a class twice."""
    found = followers.conflicts(kept, gone)
    scores = Score.objects.filter(retracted_at__isnull=True).exclude(class_name="")
    rides = {
        (score.competition, score.class_name, score.date): score
        for score in scores.filter(pair__in=kept).order_by("pk")
    }
    for score in scores.filter(pair__in=gone).order_by("date", "key"):
        same = rides.get((score.competition, score.class_name, score.date))
        if same is not None:
            found.append(
                f"Both have a score of class {score.class_name} at {score.competition} on {score.date} "
                f"({same.key} and {score.key}). Retract the one that is wrong first."
            )
    return found


def pairs_of(*members: Member) -> set[int]:
    """Return the pairs that these are or belong to."""
    riders = [member.pk for member in members if isinstance(member, Rider)]
    horses = [member.pk for member in members if isinstance(member, Horse)]
    own = {member.pk for member in members if isinstance(member, Pair)}
    return own | set(Pair.objects.filter(Q(rider__in=riders) | Q(horse__in=horses)).values_list("pk", flat=True))


def seasons_of(*members: Member) -> set[int]:
    """Return the open seasons in whose days the pairs have scores, or whose association has them as members."""
    scores = Score.objects.filter(pair__in=pairs_of(*members), retracted_at__isnull=True)
    held = Membership.objects.filter(
        Q(rider__in=[member.pk for member in members if isinstance(member, Rider)])
        | Q(horse__in=[member.pk for member in members if isinstance(member, Horse)])
    )
    days = sorted(set(scores.values_list("date", flat=True)))
    associations = set(held.values_list("association", flat=True))
    return {
        season.pk
        for season in Season.objects.filter(closed_at__isnull=True)
        if season.association_id in associations or reads_one_of(season, days)
    }


def _carry_out(kept: Member, gone: Member) -> tuple[list[Step], dict[str, int]]:
    steps: list[Step] = []
    keys: dict[str, int] = {}
    for going, staying in [*_doubled_pairs(kept, gone), *([(gone, kept)] if isinstance(gone, Pair) else [])]:
        move(steps, model=Pair, gone=going.pk, kept=staying.pk)
        remove(steps, going)
        keys[going.key] = staying.pk
    if not isinstance(gone, Pair):
        move(steps, model=type(gone), gone=gone.pk, kept=kept.pk)
        remove(steps, gone)
        fill(steps, kept, _missing_of(kept, gone) | _marked_now(kept))
    return steps, keys


def _missing_of(kept: Member, gone: Member) -> dict[str, Any]:
    return {
        name: getattr(gone, name) for name in _FILLED[type(kept)] if not getattr(kept, name) and getattr(gone, name)
    }


def _marked_now(kept: Member) -> dict[str, Any]:
    """Return the mark among namesakes where it is another one, now that ``gone`` bears the name no more."""
    assert not isinstance(kept, Pair)  # noqa: S101 - only riders and horses bear names, for the type checker
    before = kept.apart
    tell_apart([kept])
    after, kept.apart = kept.apart, before
    return {} if after == before else {"apart": after}


def _follow(pairs: set[int], seasons: set[int]) -> None:
    followers.tell(Pair.objects.filter(pk__in=pairs).values_list("pk", flat=True))
    work_out_seasons(seasons)


def work_out_seasons(seasons: Collection[int]) -> None:
    """Work the standings of these seasons out anew, inside the caller's transaction."""
    for season in open_seasons(Q(pk__in=seasons)):
        store_standings(season)


def _later_one(done: Merge) -> Merge | None:
    """Return a merge that built on this one: it changed what this one gave to, or gave to what this one changed."""
    changed = rows_changed(done.steps)
    given = rows_added_to(done.steps) | {(f"riders.{done.kind}", done.kept)}
    for later in Merge.objects.filter(pk__gt=done.pk, undone_at__isnull=True).order_by("-pk"):
        changed_later = rows_changed(later.steps)
        if changed & (changed_later | rows_added_to(later.steps)) or given & changed_later:
            return later
    return None
