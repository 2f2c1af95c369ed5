"""Entries by hand: finding the pair, and correcting an entry's number, pair or team."""

from __future__ import annotations

from competitions.models import Competition, Entry, EntryChange
from competitions.services.clock import lock_open_class
from competitions.services.entries import entry_record, refuse_bad_number
from competitions.services.results import recompute_class
from riders.errors import Conflict
from riders.models import Horse, Pair, Rider, User
from riders.services.people import find_or_create_horse, find_or_create_pair, find_or_create_rider
from riders.transactions import write_transaction


def pair_by_hand(
    competition: Competition,
    *,
    rider: str,
    horse: str,
    rider_registration: str = "",
    horse_registration: str = "",
    horse_born: int | None = None,
    owner: str = "",
) -> Pair:
    """Return the pair that was typed: by registration, or by exact name within this competition, or a new one."""
    with write_transaction():
        found_rider = find_or_create_rider(
            name=rider.strip(),
            registration=rider_registration.strip(),
            among=Rider.objects.filter(pairs__entries__competition_class__competition=competition),
        )
        found_horse = find_or_create_horse(
            name=horse.strip(),
            registration=horse_registration.strip(),
            born=horse_born,
            owner=owner.strip(),
            among=Horse.objects.filter(pairs__entries__competition_class__competition=competition),
        )
        return find_or_create_pair(found_rider, found_horse)


def change_entry(
    entry: Entry, *, expected_version: int, by: User | None, number: str, pair: Pair, team: str, why: str = ""
) -> Entry:
    """Give an entry another number, pair or team; its sheets and outcome stay with it."""
    number = number.strip()
    with write_transaction():
        locked = lock_open_class(entry.competition_class_id)
        current = Entry.objects.select_for_update().get(pk=entry.pk)
        if current.version != expected_version:
            raise Conflict(
                f"Entry {current.number} was changed by someone else since you opened it. Look at it again, then save.",
                current=current,
            )
        before = entry_record(current)
        if number != current.number:
            refuse_bad_number(locked, number)
        current.number, current.pair, current.team = number, pair, team.strip()
        after = entry_record(current)
        if after != before:
            current.version += 1
            current.save()
            EntryChange.objects.create(entry=current, by=by, reason=why[:300], before=before, after=after)
            recompute_class(locked)
    entry.refresh_from_db()
    return entry
