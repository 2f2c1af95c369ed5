"""What a database holds: nothing, a demonstration, half of one, or something else that a demonstration must not touch.

The mark is a group that the demonstration's accounts belong to; it has no rights of its own.
"""

from __future__ import annotations

from enum import Enum

from django.contrib.auth.models import Group
from django.db.models import Model

from competitions.models import Competition, Judge, Test
from riders.models import Association, Horse, Rider, Scheme, Score, User
from riders.transactions import write_transaction

LOADED = "demonstration"
LOADING = "demonstration being loaded"
_COUNTED: tuple[tuple[type[Model], str, str], ...] = (
    (User, "account", "accounts"),
    (Competition, "competition", "competitions"),
    (Association, "association", "associations"),
    (Rider, "rider", "riders"),
    (Horse, "horse", "horses"),
    (Judge, "judge", "judges"),
    (Test, "test", "tests"),
    (Scheme, "scheme", "schemes"),
    (Score, "score", "scores"),
)


class State(Enum):
    EMPTY = "empty"
    LOADING = "being loaded"
    LOADED = "loaded"
    OTHER = "other"


def state_of_database() -> State:
    marks = set(Group.objects.filter(name__in=[LOADED, LOADING]).values_list("name", flat=True))
    if LOADED in marks:
        return State.LOADED
    if LOADING in marks:
        return State.LOADING
    return State.OTHER if holdings() else State.EMPTY


def holdings() -> str:
    """Return what is in the database, in words; empty for an empty one."""
    counted = [(model._default_manager.count(), one, more) for model, one, more in _COUNTED]  # noqa: SLF001 - Django's name
    return ", ".join(f"{count} {one if count == 1 else more}" for count, one, more in counted if count)


def mark_loading() -> Group:
    """Return the mark of a demonstration, made where there is none."""
    with write_transaction():
        return Group.objects.filter(name__in=[LOADED, LOADING]).first() or Group.objects.create(name=LOADING)


def mark_loaded(group: Group) -> None:
    with write_transaction():
        group.name = LOADED
        group.save(update_fields=["name"])
