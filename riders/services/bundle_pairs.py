"""The riders, horses and pairs that a results bundle names: found by key and registration, or made."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar, cast

from django.db.models import QuerySet

from riders.intake import Problems, line_from, one_line
from riders.models import Horse, Pair, Rider
from riders.services.known_names import KnownNames
from riders.services.new_people import NewPeople
from riders.services.people import born_fault, fresh_pair_key, name_fault, new_pair_key
from scoring.documents import Reader, describe

_Member = TypeVar("_Member", Rider, Horse)
_Value = TypeVar("_Value", int, str)


@dataclass(frozen=True, slots=True)
class People:
    """Who rode which horse, as one entry of a bundle says; ``path`` is where."""

    path: str
    key: str
    rider: str
    rider_registration: str
    horse: str
    horse_registration: str
    born: int | None
    age: int | None
    owner: str


def people_from(entry: Reader) -> People:
    """Read the names of an entry, noting what is missing, too long or out of bounds."""
    return People(
        path=entry.path,
        key=line_from(entry, "x-pair", most=90),
        rider=line_from(entry, "x-rider", most=120, required=True),
        rider_registration=line_from(entry, "x-rider-registration", most=40),
        horse=line_from(entry, "x-horse", most=120, required=True),
        horse_registration=line_from(entry, "x-horse-registration", most=40),
        born=entry.take_int("x-horse-born", least=1900, most=2200),
        age=entry.take_int("x-horse-age", least=0, most=60),
        owner=line_from(entry, "x-owner", most=120),
    )


class BundlePairs:
    """The pairs that a bundle names, found or to be made (``fresh``); problems are noted, and nothing is written here.

    A rider or horse without a registration is the same in the whole bundle by its name, and a new one here, unless the
    pair's key is known or a person has decided who is meant in files of this ``source``.
    """

    def __init__(self, everyone: Iterable[People], problems: Problems, *, source: str = "") -> None:
        wanted = list(everyone)
        self.problems = problems
        self.names = KnownNames(source)
        self.fresh = NewPeople(self.names)
        self.registrations: dict[tuple[str, str], set[str]] = {}
        for people in wanted:
            self.registrations.setdefault(("rider", people.rider), set()).add(people.rider_registration)
            self.registrations.setdefault(("horse", people.horse), set()).add(people.horse_registration)
        self.registered = {place for place, numbers in self.registrations.items() if any(numbers)}
        self.riders = _registered(Rider, {people.rider_registration for people in wanted})
        self.horses = _registered(Horse, {people.horse_registration for people in wanted})
        self.known: dict[int, Horse] = {horse.pk: horse for horse in self.horses.values()}
        self.pairs = self._known_pairs(wanted)
        self.members = self._pairs_of_known(wanted)
        self.new_riders: dict[str, Rider] = {}
        self.new_horses: dict[str, Horse] = {}

    def _known_pairs(self, wanted: Sequence[People]) -> dict[str, Pair]:
        """Return the pairs by the keys of the bundle, also those that stayed where a key went in a merge."""
        keys = {people.key for people in wanted}
        pairs = {pair.key: pair for some in _some(keys) for pair in _pairs(key__in=some)}
        stayed = {pair.pk: pair for pair in _pairs(pk__in={pk for key, pk in self.names.keys.items() if key in keys})}
        return {key: stayed[pk] for key, pk in self.names.keys.items() if key in keys and pk in stayed} | pairs

    def _pairs_of_known(self, wanted: Iterable[People]) -> dict[tuple[int, int], Pair]:
        others = [people for people in wanted if people.key not in self.pairs]
        numbers = {people.rider_registration for people in others}
        riders = {rider.pk for number, rider in self.riders.items() if number in numbers}
        decided = (self.names.member("rider", people.rider) for people in others)
        riders |= {member.pk for member in decided if member is not None}
        found = (pair for some in _some(riders) for pair in _pairs(rider__in=some))
        return {(pair.rider_id, pair.horse_id): pair for pair in found}

    def pair(self, people: People) -> Pair | None:
        """Return the pair, or None where its names cannot be right."""
        before = len(self.problems)
        known = self.pairs.get(people.key)
        rider = known.rider if known else self._rider(people)
        horse = known.horse if known else self._horse(people)
        horse = horse if horse.pk is None else self.known.setdefault(horse.pk, horse)
        self._compare("rider", rider, people.rider, people.rider_registration, path=f"{people.path}.x-rider")
        self._compare("horse", horse, people.horse, people.horse_registration, path=f"{people.path}.x-horse")
        fault = born_fault(horse, people.born)
        if fault:
            self.problems.append((f"{people.path}.x-horse-born", fault))
        if len(self.problems) > before:
            return None
        if horse.born is None and people.born is not None:
            horse.born = people.born
            if horse.pk is not None:
                self.fresh.grown.append(horse)
        return known or self._pair(rider, horse, people)

    def _compare(self, kind: str, member: Rider | Horse, name: str, registration: str, *, path: str) -> None:
        if one_line(member.name) != name and not self.names.accepts(kind, member, name):
            fault = (
                name_fault(kind, registration=member.registration, known=member.name, given=name)
                if member.registration
                else f"This pair has the {kind} {describe(member.name)} here, but the bundle says {describe(name)}."
            )
            self.problems.append((path, fault))
        elif registration and member.registration and registration != member.registration:
            sentence = (
                f"The {kind} {describe(name)} of this pair has registration {member.registration} here, but the bundle "
                f"says {registration}."
            )
            self.problems.append((f"{path}-registration", sentence))

    def _decided(self, kind: str, spelling: str) -> Rider | Horse | None:
        """Return who was decided on, unless the bundle gives that name several registrations: then they are several."""
        return self.names.member(kind, spelling) if len(self.registrations[kind, spelling]) == 1 else None

    def _rider(self, people: People) -> Rider:
        registration = people.rider_registration
        book, name = (self.riders, registration) if registration else (self.new_riders, people.rider)
        if name not in book:
            decided = self._decided("rider", people.rider)
            book[name] = cast("Rider", decided) or Rider(name=people.rider, registration=registration)
            if decided is None:
                self.fresh.add_member("rider", people.rider, book[name])
        return book[name]

    def _horse(self, people: People) -> Horse:
        registration = people.horse_registration
        book, name = (self.horses, registration) if registration else (self.new_horses, people.horse)
        if name not in book:
            decided = self._decided("horse", people.horse)
            book[name] = cast("Horse", decided) or Horse(name=people.horse, registration=registration, born=people.born)
            if decided is None:
                self.fresh.add_member("horse", people.horse, book[name])
                if people.owner:
                    self.fresh.owners.append((book[name], people.owner))
        return book[name]

    def _pair(self, rider: Rider, horse: Horse, people: People) -> Pair:
        place = (rider.pk or -id(rider), horse.pk or -id(horse))
        found = self.members.get(place)
        if found is None:
            found = Pair(rider=rider, horse=horse, key=people.key or new_pair_key(rider, horse))
            if found.key in self.pairs:
                found.key = fresh_pair_key()
            self.members[place] = found
            self.fresh.add_pair(found, rider=people.rider, horse=people.horse)
        self.pairs[people.key or found.key] = found
        return found


def _pairs(**wanted: object) -> QuerySet[Pair]:
    return Pair.objects.filter(**wanted).select_related("rider", "horse")


def _registered(model: type[_Member], registrations: Collection[str]) -> dict[str, _Member]:
    return {
        member.registration: member
        for numbers in _some(registrations)
        for member in model._default_manager.filter(registration__in=numbers)  # noqa: SLF001
    }


def _some(values: Collection[_Value]) -> Iterator[list[_Value]]:
    """Yield the values that are not empty in lists that a database takes at once."""
    wanted = sorted(value for value in values if value)
    for start in range(0, len(wanted), 500):
        yield wanted[start : start + 500]
