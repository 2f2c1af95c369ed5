"""The riders, horses and pairs that a results bundle names: found by key and registration, or made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from riders.intake import Problems, line_from, one_line
from riders.models import Horse, Pair, Rider
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
    pair's key is known.
    """

    def __init__(self, everyone: Iterable[People], problems: Problems) -> None:
        wanted = list(everyone)
        self.problems = problems
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
        if one_line(member.name) != name:
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

    def _rider(self, people: People) -> Rider:
        registration = people.rider_registration
        book, name = (self.riders, registration) if registration else (self.new_riders, people.rider)
        if name not in book:
            book[name] = Rider.objects.create(name=people.rider, registration=registration)
        return book[name]

    def _horse(self, people: People) -> Horse:
        registration = people.horse_registration
        book, name = (self.horses, registration) if registration else (self.new_horses, people.horse)
        if name not in book:
            book[name] = Horse.objects.create(
                name=people.horse, registration=registration, born=people.born, owner=owner_named(people.owner)
            )
        return book[name]

    def _pair(self, rider: Rider, horse: Horse, people: People) -> Pair:
        found = Pair.objects.filter(rider=rider, horse=horse).select_related("rider", "horse").first()
        if found is None:
            key = people.key or new_pair_key(rider, horse)
            found = Pair.objects.create(rider=rider, horse=horse, key=key)
        self.pairs[people.key or found.key] = found
        return found


def _some(texts: Iterable[str]) -> Iterator[list[str]]:
    """Yield the texts that are not empty, each once, in lists that a database takes at once."""
    wanted = sorted({text for text in texts if text})
    for start in range(0, len(wanted), 500):
        yield wanted[start : start + 500]
