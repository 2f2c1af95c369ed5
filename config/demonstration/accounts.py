"""The accounts of the demonstration: one for each role, with passwords that are made anew and shown once."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib.auth.models import Group

from competitions.models import Competition, Judge, OfficeRole, PanelSeat
from riders.models import Association, AssociationRole, Rider, User
from riders.transactions import write_transaction

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


@dataclass(frozen=True, slots=True)
class Account:
    """An account of the demonstration, and the page to start from."""

    username: str
    who: str
    path: str


def make_users(group: Group) -> dict[str, User]:
    """Return the accounts by name, made where they are missing; nobody can log in to a new one yet."""
    users = {}
    with write_transaction():
        for username in ("office", "keyer", "judge", "rider", "association", "staff"):
            user, made = User.objects.get_or_create(username=username, defaults={"is_staff": username == "staff"})
            if made:
                user.set_unusable_password()
                user.save(update_fields=["password"])
            user.groups.add(group)
            users[username] = user
    return users


def give_roles(
    users: dict[str, User], *, competition: Competition, seat: PanelSeat, rider: Rider, association: Association
) -> None:
    """Link each account to what it is for; an account that is linked already stays as it is."""
    with write_transaction():
        for name in ("office", "keyer"):
            OfficeRole.objects.get_or_create(user=users[name], competition=competition)
        AssociationRole.objects.get_or_create(user=users["association"], association=association)
        if seat.judge is not None:
            Judge.objects.filter(pk=seat.judge.pk, user=None).update(user=users["judge"])
            _name_after(users["judge"], seat.judge.name)
        Rider.objects.filter(pk=rider.pk, user=None).update(user=users["rider"])
        _name_after(users["rider"], rider.name)


def give_passwords(accounts: Sequence[Account]) -> dict[str, str]:
    """Give each account a new password and return the passwords, which are kept nowhere in plain text."""
    passwords = {account.username: _new_password() for account in accounts}
    users = {user.username: user for user in User.objects.filter(username__in=passwords)}
    for username, user in users.items():
        user.set_password(passwords[username])
    with write_transaction():
        for user in users.values():
            user.save(update_fields=["password"])
    return {username: passwords[username] for username in users}


def _new_password() -> str:
    """Return 16 letters and digits that cannot be misread, in groups of four (79 bits)."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))


def _name_after(user: User, name: str) -> None:
    first, _, last = name.rpartition(" ")
    user.first_name, user.last_name = first, last
    user.save(update_fields=["first_name", "last_name"])
