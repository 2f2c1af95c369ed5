"""Entries of a class: adding and removing them, the running order, outcomes, and who is in the ring."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, TypedDict, Unpack

from django.db.models import F, Max

from competitions.models import CompetitionClass, Entry, EntryChange
from competitions.services.clock import lock_class, lock_open_class, raise_version
from competitions.services.history import note_class
from competitions.services.numbers import number_fault
from competitions.services.results import recompute_class
from competitions.services.sheets import settle_status
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import Pair, User
from riders.transactions import write_transaction
from scoring.exact import parse_decimal

_DEDUCTION_KEYS = {"off", "amount", "seat", "part", "reason"}
_DEDUCTION_OFF = ("sheet-points", "part-percentage", "total-percentage")


def add_entry(
    competition_class: CompetitionClass,
    *,
    number: str,
    pair: Pair,
    by: User | None,
    team: str = "",
    hors_concours: bool = False,
    order: int | None = None,
) -> Entry:
    """Enter a pair; it rides last unless ``order`` says otherwise."""
    number = number.strip()
    with write_transaction():
        locked = lock_open_class(competition_class.pk)
        refuse_bad_number(locked, number)
        last = locked.entries.aggregate(last=Max("order"))["last"] or 0
        entry = Entry.objects.create(
            competition_class=locked,
            number=number,
            pair=pair,
            team=team.strip(),
            hors_concours=hors_concours,
            order=order or last + 1,
        )
        _note(entry, by=by, before={}, why="entered")
        store_ride_times(locked)
        recompute_class(locked)
    entry.refresh_from_db()
    return entry


def refuse_bad_number(competition_class: CompetitionClass, number: str) -> None:
    if not number or len(number) > 10:
        raise InvalidInput(
            "The entry needs a number.", problems=[("number", "Give the entry a number of 1 to 10 characters.")]
        )
    fault = number_fault(number, what="an entry")
    if fault:
        raise InvalidInput("The number cannot be used.", problems=[("number", fault)])
    taken = competition_class.entries.filter(number=number).select_related("pair__rider", "pair__horse").first()
    if taken:
        raise InvalidInput(
            "The number is taken.",
            problems=[("number", f"Number {number} belongs to {taken.pair} in this class. Give another number.")],
        )


def remove_entry(entry: Entry, *, by: User | None) -> None:
    """Take out an entry that nobody has marked; one with sheets is withdrawn instead, so that no mark is lost."""
    with write_transaction():
        locked = lock_open_class(entry.competition_class_id)
        if entry.sheets.exists():
            raise NotAllowed(
                f"Entry {entry.number} has sheets. Set its outcome to withdrawn instead of removing it.",
                code="entry-has-sheets",
            )
        if locked.in_ring_id == entry.pk:
            locked.in_ring = None
            locked.save(update_fields=["in_ring"])
        note_class(locked, "entry removed", by=by, before=entry_record(entry))
        entry.delete()
        store_ride_times(locked)
        recompute_class(locked)


def draw_running_order(competition_class: CompetitionClass, *, seed: str, by: User | None) -> None:
    """Draw the order by lot. The same seed over the same entries draws the same order, so a draw can be shown again."""
    if not seed.strip():
        raise InvalidInput(
            "A draw needs a seed.", problems=[("seed", "Give a word or number as the seed of the draw.")]
        )
    with write_transaction():
        locked = lock_open_class(competition_class.pk)
        entries = sorted(locked.entries.all(), key=lambda entry: (len(entry.number), entry.number))
        _refuse_started(entries)
        random.Random(f"{seed.strip()}/{locked.pk}").shuffle(entries)  # noqa: S311 - a repeatable draw, not a secret
        note_class(locked, "running order drawn", by=by, reason=f"seed {seed.strip()}")
        _store_order(locked, entries)


def set_running_order(competition_class: CompetitionClass, *, entry_ids: Sequence[int], by: User | None) -> None:
    """Let the entries ride in the order of ``entry_ids``, which names every entry of the class once."""
    with write_transaction():
        locked = lock_open_class(competition_class.pk)
        entries = {entry.pk: entry for entry in locked.entries.all()}
        if len(entry_ids) != len(set(entry_ids)) or set(entry_ids) != set(entries):
            raise InvalidInput(
                "The running order must name every entry of the class once. Load the page again: entries may have been "
                "added or removed meanwhile.",
                problems=[("entry_ids", "Entries are missing, unknown or named twice.")],
            )
        before = list(locked.entries.order_by("order", "number", "pk").values_list("number", flat=True))
        after = [entries[entry_id].number for entry_id in entry_ids]
        note_class(locked, "running order changed", by=by, before=before, after=after)
        _store_order(locked, [entries[entry_id] for entry_id in entry_ids])


def work_out_ride_times(competition_class: CompetitionClass) -> None:
    """Work the ride times out from the order, the start, the interval and the breaks."""
    with write_transaction():
        locked = lock_class(competition_class.pk)
        store_ride_times(locked)
        raise_version(locked)


def store_ride_times(competition_class: CompetitionClass) -> None:
    """Write the ride times inside the caller's transaction; without a start they are empty."""
    entries = list(competition_class.entries.order_by("order", "number", "pk"))
    for entry, ride_time in zip(entries, ride_times(competition_class, len(entries)), strict=True):
        if entry.ride_time != ride_time:
            Entry.objects.filter(pk=entry.pk).update(ride_time=ride_time)


def ride_times(competition_class: CompetitionClass, rides: int) -> list[datetime | None]:
    """Return the start of each ride, in order: local start, so many intervals, and the breaks that come before it."""
    if competition_class.starts_at is None:
        return [None] * rides
    start = datetime.combine(
        competition_class.date, competition_class.starts_at, tzinfo=competition_class.competition.zone
    )
    breaks = {int(pause["after"]): int(pause["minutes"]) for pause in competition_class.breaks}
    times: list[datetime | None] = []
    clock = start
    for ride in range(rides):
        clock += timedelta(minutes=breaks.get(ride, 0)) if ride else timedelta()
        times.append(clock)
        clock += timedelta(seconds=competition_class.interval_seconds)
    return times


def set_in_ring(competition_class: CompetitionClass, *, entry: Entry | None, by: User | None) -> None:
    """Say who is in the ring; an entry that had not started is running from now on."""
    with write_transaction():
        locked = lock_open_class(competition_class.pk)
        if entry is not None and entry.competition_class_id != locked.pk:
            raise InvalidInput(f"Entry {entry.number} does not ride in this class.", code="other-class")
        if entry is not None and entry.status in {Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW}:
            raise NotAllowed(f"Entry {entry.number} is {entry.status} and cannot be in the ring.", code="not-riding")
        left = locked.in_ring
        locked.in_ring = entry
        locked.save(update_fields=["in_ring"])
        if left is not None and left.status == Entry.Status.RUNNING and left != entry and not left.sheets.exists():
            Entry.objects.filter(pk=left.pk).update(status=Entry.Status.ENTERED, version=F("version") + 1)
        if entry is not None and entry.status == Entry.Status.ENTERED:
            Entry.objects.filter(pk=entry.pk).update(status=Entry.Status.RUNNING, version=F("version") + 1)
        note_class(locked, "in the ring", by=by, after=entry.number if entry else None)
        recompute_class(locked)
    competition_class.refresh_from_db(fields=["in_ring", "version", "changed_at"])


class OutcomeChanges(TypedDict, total=False):
    """What to change about an entry beside its marks; a field that is absent or None stays as it is."""

    status: str | None
    errors: int | None
    reason: str | None
    deductions: Sequence[Mapping[str, Any]] | None
    hors_concours: bool | None
    team: str | None


def set_outcome(
    entry: Entry,
    *,
    expected_version: int | None,
    by: User | None,
    why: str = "",
    **changes: Unpack[OutcomeChanges],
) -> Entry:
    """Set what happened to an entry beside its marks and recompute the class.

    Setting ``completed``, ``running`` or ``entered`` lets the status follow the sheets. ``expected_version`` None takes
    the entry as it stands (imports). The change is noted with who, when, why and what stood there before.
    """
    with write_transaction():
        locked = lock_open_class(entry.competition_class_id)
        write_outcome(entry, expected_version=expected_version, by=by, why=why, **changes)
        settle_status(locked, entry)
        if locked.in_ring_id == entry.pk and entry.status not in {Entry.Status.RUNNING, Entry.Status.ENTERED}:
            locked.in_ring = None
            locked.save(update_fields=["in_ring"])
        recompute_class(locked)
    entry.refresh_from_db()
    return entry


def write_outcome(
    entry: Entry,
    *,
    expected_version: int | None,
    by: User | None,
    why: str = "",
    **changes: Unpack[OutcomeChanges],
) -> None:
    """Write an outcome inside the caller's transaction, without recomputing the class (for imports)."""
    current = Entry.objects.select_for_update().get(pk=entry.pk)
    if expected_version is not None and current.version != expected_version:
        raise Conflict(
            f"Entry {current.number} was changed by someone else since you opened it. Look at it again, then save.",
            current=current,
        )
    refuse_bad_outcome(**changes)
    before = entry_record(current)
    for name, value in _stored_values(changes).items():
        setattr(current, name, value)
    if entry_record(current) != before:
        current.version += 1
        current.save()
        _note(current, by=by, before=before, why=why)
    entry.refresh_from_db()


def _stored_values(changes: OutcomeChanges) -> dict[str, Any]:
    """Return the fields of an entry that the changes touch, as they are stored."""
    values: dict[str, Any] = {name: value for name, value in changes.items() if value is not None}
    if "reason" in values:
        values["status_reason"] = values.pop("reason").strip()[:300]
    if "deductions" in values:
        values["deductions"] = [dict(deduction) for deduction in values["deductions"]]
    if "team" in values:
        values["team"] = values["team"].strip()
    return values


def entry_record(entry: Entry) -> dict[str, Any]:
    """Return what a history row keeps of an entry."""
    return {
        "number": entry.number,
        "pair": entry.pair_id,
        "status": entry.status,
        "status_reason": entry.status_reason,
        "hors_concours": entry.hors_concours,
        "team": entry.team,
        "errors": entry.errors,
        "deductions": entry.deductions,
    }


def refuse_bad_outcome(**changes: Unpack[OutcomeChanges]) -> None:
    """Raise ``InvalidInput`` with every problem in an outcome."""
    status, errors = changes.get("status"), changes.get("errors")
    problems = []
    if status is not None and status not in Entry.Status.values:
        problems.append(("status", f'"{status}" is no status. Give one of: {", ".join(Entry.Status.values)}.'))
    if errors is not None and (isinstance(errors, bool) or not isinstance(errors, int) or not 0 <= errors <= 20):
        problems.append(("errors", f"{errors} is no number of errors of course. Give 0 to 20."))
    for index, deduction in enumerate(changes.get("deductions") or ()):
        problems += [(f"deductions[{index}]", sentence) for sentence in _deduction_problems(deduction)]
    if problems:
        raise InvalidInput(
            "The outcome was not saved. " + " ".join(sentence for _, sentence in problems), problems=problems
        )


def _deduction_problems(deduction: Mapping[str, Any]) -> list[str]:
    problems = [f'A deduction has no "{key}".' for key in sorted(set(deduction) - _DEDUCTION_KEYS)]
    if deduction.get("off") not in _DEDUCTION_OFF:
        problems.append(f"A deduction comes off one of: {', '.join(_DEDUCTION_OFF)}.")
    try:
        if parse_decimal(deduction.get("amount")) <= 0:
            problems.append("The amount of a deduction must be above 0.")
    except ValueError:
        problems.append('The amount of a deduction is a plain decimal number such as "2".')
    return problems


def _note(entry: Entry, *, by: User | None, before: dict[str, Any], why: str) -> None:
    EntryChange.objects.create(entry=entry, by=by, reason=why[:300], before=before, after=entry_record(entry))


def _refuse_started(entries: Sequence[Entry]) -> None:
    started = [entry.number for entry in entries if entry.status not in {Entry.Status.ENTERED, Entry.Status.WITHDRAWN}]
    if started:
        raise NotAllowed(
            f"The class has started (entry {started[0]}), so its order is not drawn again. Move single rides instead.",
            code="class-started",
        )


def _store_order(competition_class: CompetitionClass, entries: Sequence[Entry]) -> None:
    for order, entry in enumerate(entries, start=1):
        if entry.order != order:
            Entry.objects.filter(pk=entry.pk).update(order=order)
    store_ride_times(competition_class)
    raise_version(competition_class)
