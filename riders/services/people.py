"""Riders, horses and pairs: found by registration, never merged by name alone.

A registration identifies a rider or a horse across shows. Without one, the same exact name means the same rider or
horse only among those that the caller names (``among``: those of one competition, of one file); elsewhere it is a
namesake, and a new row is made.
"""

from __future__ import annotations

import secrets
from typing import TypeVar

from django.db.models import QuerySet

from riders.errors import InvalidInput
from riders.models import Horse, Owner, Pair, Rider
from riders.services.namesakes import tell_apart
from scoring.documents import describe

_Named = TypeVar("_Named", Rider, Horse)


def find_or_create_rider(*, name: str, registration: str = "", among: QuerySet[Rider] | None = None) -> Rider:
    """Return the rider with this registration, or by exact name among the given ones, or a new one.

    Raises ``InvalidInput`` where the registration belongs to another name or the name alone fits several riders. Runs
    inside the caller's transaction, as all functions here do.
    """
    found = _found(Rider, "rider", name=name, registration=registration, among=among)
    return found or _made(Rider(name=name, registration=registration))


def find_or_create_horse(
    *,
    name: str,
    registration: str = "",
    born: int | None = None,
    owner: str = "",
    among: QuerySet[Horse] | None = None,
) -> Horse:
    """Return the horse on the same terms as a rider.

    What is not known yet of a horse that is found (year of birth) is filled in, and its owner becomes the one given.
    Raises ``InvalidInput`` where another year of birth is known.
    """
    horse = _found(Horse, "horse", name=name, registration=registration, among=among)
    if horse is None:
        return _made(Horse(name=name, registration=registration, born=born, owner=owner_named(owner)))
    fault = born_fault(horse, born)
    if fault:
        raise _refusal("horse_born", fault)
    update_horse(horse, born=born, owner=owner)
    return horse


def find_or_create_pair(rider: Rider, horse: Horse, *, key: str = "") -> Pair:
    """Return the pair of these two; a new one gets ``key``, or one made of the two registrations."""
    pair = Pair.objects.filter(rider=rider, horse=horse).first()
    if pair is None:
        pair = Pair.objects.create(rider=rider, horse=horse, key=key or new_pair_key(rider, horse))
    return pair


def new_pair_key(rider: Rider, horse: Horse) -> str:
    """Return the key for a new pair: both registrations, or where one is missing a name that no other pair has."""
    if rider.registration and horse.registration:
        key = f"{rider.registration}-{horse.registration}"
        if not Pair.objects.filter(key=key).exists():
            return key
    return fresh_pair_key()


def fresh_pair_key() -> str:
    """Return a key that no other pair has."""
    return f"pair-{secrets.token_hex(6)}"


def owner_named(name: str) -> Owner | None:
    return Owner.objects.get_or_create(name=name)[0] if name else None


def update_horse(horse: Horse, *, born: int | None, owner: str) -> bool:
    """Fill in the year of birth and set the owner where they are given; tell whether anything changed."""
    before = (horse.born, horse.owner_id)
    horse.born = horse.born or born
    horse.owner = owner_named(owner) or horse.owner
    if (horse.born, horse.owner_id) == before:
        return False
    horse.save(update_fields=["born", "owner"])
    return True


def name_fault(kind: str, *, registration: str, known: str, given: str) -> str:
    """Say that a registration belongs to someone else, or nothing when the names agree."""
    if known == given:
        return ""
    return (
        f"Registration {registration} belongs to the {kind} {describe(known)}, but here stands {describe(given)}. "
        "Correct the name or the registration."
    )


def born_fault(horse: Horse, born: int | None) -> str:
    if born is None or horse.born is None or born == horse.born:
        return ""
    return (
        f"The horse {describe(horse.name)} is known as born in {horse.born}, but here stands {born}. "
        "Correct the year, or the registration if this is another horse."
    )


def namesake_fault(kind: str, *, name: str) -> str:
    return f"Several {kind}s are called {describe(name)}. Give the registration, so that it is clear who is meant."


def _made(member: _Named) -> _Named:
    tell_apart([member])
    member.save()
    return member


def _found(
    model: type[_Named], kind: str, *, name: str, registration: str, among: QuerySet[_Named] | None
) -> _Named | None:
    if registration:
        known = model.objects.filter(registration=registration).first()
        if known is not None:
            fault = name_fault(kind, registration=registration, known=known.name, given=name)
            if fault:
                raise _refusal(f"{kind}_registration", fault)
        return known
    if among is None:
        return None
    namesakes = list(among.filter(name=name).distinct()[:2])
    if len(namesakes) > 1:
        raise _refusal(kind, namesake_fault(kind, name=name))
    return namesakes[0] if namesakes else None


def _refusal(where: str, sentence: str) -> InvalidInput:
    return InvalidInput(sentence, problems=[(where, sentence)])
