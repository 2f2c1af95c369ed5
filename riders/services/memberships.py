"""Memberships by hand: added, changed and removed, with who, when, why and what stood before.

Whether a rider was a member on the day of a ride decides what counts, so every change has the rider's units in the open
seasons of the association worked out anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from riders.errors import Conflict, InvalidInput
from riders.intake import Problems, has_unstorable, one_line, reason_from
from riders.models import Association, Horse, Membership, MembershipChange, Rider, User
from riders.services.standings import rebuild_members
from riders.transactions import write_transaction


@dataclass(frozen=True, slots=True, kw_only=True)
class MembershipFields:
    number: str
    division: str
    starts_on: date
    ends_on: date | None


def add_membership(
    association: Association, *, member: Rider | Horse, fields: MembershipFields, by: User | None, reason: str
) -> Membership:
    """Make someone a member from one day to another; raises ``InvalidInput`` with a problem under each field."""
    reason = reason_from(reason)
    with write_transaction():
        membership = Membership(association=association)
        if isinstance(member, Rider):
            membership.kind, membership.rider = Membership.Kind.PERSON, member
        else:
            membership.kind, membership.horse = Membership.Kind.HORSE, member
        _write(membership, fields)
        _note(membership, by=by, reason=reason, before=None, after=membership_record(membership))
    return membership


def change_membership(
    membership: Membership, *, fields: MembershipFields, before: dict[str, str], by: User | None, reason: str
) -> Membership:
    """Give a membership another number, division or other days; ``before`` is the record that was looked at."""
    reason = reason_from(reason)
    with write_transaction():
        current = _current(membership, before)
        _write(current, fields)
        after = membership_record(current)
        if after == before:
            raise InvalidInput("Nothing was changed: the membership says that already.", code="nothing-changed")
        _note(current, by=by, reason=reason, before=before, after=after)
    return current


def remove_membership(membership: Membership, *, before: dict[str, str], by: User | None, reason: str) -> None:
    """Remove a membership that should never have been there; one that is over gets a last day instead."""
    reason = reason_from(reason)
    with write_transaction():
        current = _current(membership, before)
        _note(current, by=by, reason=reason, before=before, after=None, rebuild=False)
        current.delete()
        _rebuild(current)


def membership_record(membership: Membership) -> dict[str, str]:
    """Return a membership as text, as its history keeps it."""
    return {
        "number": membership.number,
        "kind": membership.kind,
        "member": str(membership.rider or membership.horse),
        "division": membership.division,
        "from": membership.starts_on.isoformat(),
        "to": membership.ends_on.isoformat() if membership.ends_on else "",
    }


def _current(membership: Membership, before: dict[str, str]) -> Membership:
    current = (
        Membership.objects.select_for_update(of=("self",))
        .select_related("rider", "horse", "association")
        .filter(pk=membership.pk)
        .first()
    )
    if current is None or membership_record(current) != before:
        raise Conflict(
            "The membership was changed by someone else since you opened it. Look at it again, then change it.",
            current=current,
        )
    return current


def _write(membership: Membership, fields: MembershipFields) -> None:
    number, division = one_line(fields.number), one_line(fields.division)
    problems = _problems(number, division, fields)
    same = Membership.objects.filter(
        association=membership.association, number=number, starts_on=fields.starts_on
    ).exclude(pk=membership.pk)
    if not problems and (other := same.select_related("rider", "horse").first()):
        sentence = (
            f"Number {number} from {fields.starts_on} is the membership of {other.rider or other.horse}. Give another "
            "number or first day."
        )
        problems.append(("number", sentence))
    if problems:
        raise InvalidInput("The membership was not kept. Look at the fields that are named.", problems=problems)
    membership.number, membership.division = number, division
    membership.starts_on, membership.ends_on = fields.starts_on, fields.ends_on
    membership.save()


def _problems(number: str, division: str, fields: MembershipFields) -> Problems:
    problems: Problems = []
    if not number or len(number) > 40 or has_unstorable(number):
        problems.append(("number", "Give the membership a number of 1 to 40 characters."))
    if len(division) > 60 or has_unstorable(division):
        problems.append(("division", "Name the division in at most 60 characters, or leave it empty."))
    if fields.ends_on is not None and fields.ends_on < fields.starts_on:
        sentence = f"The last day {fields.ends_on} is before the first, {fields.starts_on}. Correct one of the days."
        problems.append(("ends_on", sentence))
    return problems


def _note(
    membership: Membership,
    *,
    by: User | None,
    reason: str,
    before: dict[str, str] | None,
    after: dict[str, str] | None,
    rebuild: bool = True,
) -> None:
    MembershipChange.objects.create(
        association=membership.association,
        membership=membership.pk,
        by=by,
        reason=reason,
        before=before,
        after=after,
    )
    if rebuild:
        _rebuild(membership)


def _rebuild(membership: Membership) -> None:
    """Work out what it decides: its rider's units, or everybody's where it is the first or was the last."""
    association, rider = membership.association, membership.rider_id
    others = Membership.objects.filter(association=association).exclude(pk=membership.pk)
    rebuild_members(association, ([] if rider is None else [rider]) if others.exists() else None)
