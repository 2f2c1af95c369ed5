"""The riders, horses and pairs that a results bundle names: found by key and registration, or made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import cast

from riders.intake import Problems, line_from, one_line
from riders.models import Horse, Pair, Rider
from riders.services.known_names import KnownNames
from riders.services.people import born_fault, name_fault, new_pair_key, owner_named
from scoring.documents import Reader, describe


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
    """Finds or makes pairs inside the caller's transaction; problems are noted, and the caller refuses them all.

    A rider or horse without a registration is the same in the whole bundle by its name, and a new one here, unless the
    pair's key is known or a person has decided who is meant in files of this ``source``.
    """

    def __init__(self, everyone: Iterable[People], problems: Problems, *, source: str = "") -> None:
        wanted = list(everyone)
        self.problems = problems
        self.names = KnownNames(source)
        self.pairs = {
            pair.key: pair
            for keys in _some(people.key for people in wanted)
            for pair in Pair.objects.select_related("rider", "horse").filter(key__in=keys)
        }
        self.riders = {
            rider.registration: rider
            for numbers in _some(people.rider_registration for people in wanted)
            for rider in Rider.objects.filter(registration__in=numbers)
        }
        self.horses = {
            horse.registration: horse
            for numbers in _some(people.horse_registration for people in wanted)
            for horse in Horse.objects.filter(registration__in=numbers)
        }
        self.new_riders: dict[str, Rider] = {}
        self.new_horses: dict[str, Horse] = {}
        self.registrations: dict[tuple[str, str], set[str]] = {}
        for people in wanted:
            self.registrations.setdefault(("rider", people.rider), set()).add(people.rider_registration)
            self.registrations.setdefault(("horse", people.horse), set()).add(people.horse_registration)
        self.registered = {place for place, numbers in self.registrations.items() if any(numbers)}
        self.fresh: dict[tuple[str, str], Rider | Horse] = {}
        self.made: set[int] = set()
        stayed = {
            pair.pk: pair for pair in Pair.objects.select_related("rider", "horse").filter(pk__in=self._kept(wanted))
        }
        for key, pk in self.names.keys.items():
            if pk in stayed:
                self.pairs.setdefault(key, stayed[pk])

    def _kept(self, wanted: Iterable[People]) -> set[int]:
        """Return the pairs that stayed where the keys of the bundle went in a merge."""
        return {self.names.keys[people.key] for people in wanted if people.key in self.names.keys}

    def fresh_members(self) -> Iterator[tuple[tuple[str, str], Rider | Horse]]:
        """Yield who is made, by kind and spelling."""
        yield from self.fresh.items()

    def undecided(self) -> Iterator[tuple[str, str]]:
        """Yield the (kind, spelling) of those who were made and on whom nobody has decided."""
        yield from (place for place in self.fresh if self.names.decided(*place) is None)

    def keep_decisions(self) -> None:
        """Remember who was made for a name that was decided to be someone new."""
        for (kind, spelling), member in self.fresh.items():
            decision = self.names.decided(kind, spelling)
            if decision is not None:
                setattr(decision, kind, member)
                decision.save(update_fields=[kind])

    def pair(self, people: People) -> Pair | None:
        """Return the pair, or None where its names cannot be right."""
        before = len(self.problems)
        known = self.pairs.get(people.key)
        rider = known.rider if known else self._rider(people)
        horse = known.horse if known else self._horse(people)
        self._compare("rider", rider, people.rider, people.rider_registration, path=f"{people.path}.x-rider")
        self._compare("horse", horse, people.horse, people.horse_registration, path=f"{people.path}.x-horse")
        fault = born_fault(horse, people.born)
        if fault:
            self.problems.append((f"{people.path}.x-horse-born", fault))
        if len(self.problems) > before:
            return None
        if horse.born is None and people.born is not None:
            horse.born = people.born
            horse.save(update_fields=["born"])
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
            book[name] = cast("Rider", decided) or Rider.objects.create(name=people.rider, registration=registration)
            if decided is None:
                self.fresh["rider", people.rider] = book[name]
        return book[name]

    def _horse(self, people: People) -> Horse:
        registration = people.horse_registration
        book, name = (self.horses, registration) if registration else (self.new_horses, people.horse)
        if name not in book:
            decided = self._decided("horse", people.horse)
            book[name] = cast("Horse", decided) or Horse.objects.create(
                name=people.horse, registration=registration, born=people.born, owner=owner_named(people.owner)
            )
            if decided is None:
                self.fresh["horse", people.horse] = book[name]
        return book[name]

    def _pair(self, rider: Rider, horse: Horse, people: People) -> Pair:
        found = Pair.objects.filter(rider=rider, horse=horse).select_related("rider", "horse").first()
        if found is None:
            key = people.key or new_pair_key(rider, horse)
            found = Pair.objects.create(rider=rider, horse=horse, key=key)
            self.made.add(found.pk)
            self._rely_on(people, found)
        self.pairs[people.key or found.key] = found
        return found

    def _rely_on(self, people: People, pair: Pair) -> None:
        for kind, spelling in (("rider", people.rider), ("horse", people.horse)):
            decision = self.names.decided(kind, spelling)
            if decision is not None:
                decision.made.append(pair.pk)
                decision.save(update_fields=["made"])


def _some(texts: Iterable[str]) -> Iterator[list[str]]:
    """Yield the texts that are not empty, each once, in lists that a database takes at once."""
    wanted = sorted({text for text in texts if text})
    for start in range(0, len(wanted), 500):
        yield wanted[start : start + 500]
