"""The pairs that a file of scores names: known ones, and those to be made, with nobody merged by name across files."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import cast

from riders.intake import Problems, one_line
from riders.models import Horse, Pair, Rider
from riders.services.known_names import KnownNames
from riders.services.new_people import NewPeople
from riders.services.people import name_fault
from scoring.documents import describe
from scoring.season.ledger import Score as Read


@dataclass(slots=True)
class PairBook:
    """The pairs that the rows of one file name, found or to be made (``fresh``); nothing is written here.

    A pair is known by its key (also that of a pair that was merged), by the registrations of both, or by what a person
    has decided about the names in files of this ``source``.
    """

    problems: Problems
    source: str = ""
    names: KnownNames = field(init=False)
    known: dict[str, Pair] = field(init=False)
    riders: dict[str, Rider] = field(init=False)
    horses: dict[str, Horse] = field(init=False)
    members: dict[tuple[object, object], Pair] = field(init=False)
    fresh: NewPeople = field(init=False)
    registered: frozenset[tuple[str, str]] = frozenset()
    """(kind, spelling) of names that come with a registration: rows of scores give none."""

    def __post_init__(self) -> None:
        self.names = KnownNames(self.source)
        self.fresh = NewPeople(self.names)
        pairs = list(Pair.objects.select_related("rider", "horse"))
        numbers = {pair.pk: pair for pair in pairs}
        self.known = {
            f"{pair.rider.registration}-{pair.horse.registration}": pair
            for pair in pairs
            if pair.rider.registration and pair.horse.registration
        }
        self.known |= {key: numbers[stayed] for key, stayed in self.names.keys.items() if stayed in numbers}
        self.known |= {pair.key: pair for pair in pairs}
        self.members = {(pair.rider_id, pair.horse_id): pair for pair in pairs}
        self.riders = {rider.registration: rider for rider in Rider.objects.exclude(registration="")}
        self.horses = {horse.registration: horse for horse in Horse.objects.exclude(registration="")}

    def read(self, number: int, score: Read) -> Pair:
        """Return the pair of a row; what is wrong with its names is noted."""
        key, rider, horse = score.pair or "", one_line(score.rider or ""), one_line(score.horse or "")
        pair = self.known.get(key)
        if pair is None:
            pair = self.known[key] = self._registered(key) or self._named(number, key, rider, horse)
        for kind, member, given in (("rider", pair.rider, rider), ("horse", pair.horse, horse)):
            if not self.names.accepts(kind, member, given):
                self.problems.append((f"row {number}, {kind}", self._other_name(key, kind, member, given)))
        return pair

    @staticmethod
    def _other_name(key: str, kind: str, member: Rider | Horse, given: str) -> str:
        if member.registration:
            return name_fault(kind, registration=member.registration, known=member.name, given=given)
        return (
            f"The pair {describe(key)} has the {kind} {describe(member.name)}, but here stands {describe(given)}. "
            "Correct the name or the pair."
        )

    def _registered(self, key: str) -> Pair | None:
        for position, character in enumerate(key):
            if character == "-" and key[:position] in self.riders and key[position + 1 :] in self.horses:
                rider, horse = self.riders[key[:position]], self.horses[key[position + 1 :]]
                pair = self.members.get((rider.pk, horse.pk))
                return pair or self._made(key, rider, horse)
        return None

    def _named(self, number: int, key: str, rider: str, horse: str) -> Pair:
        """Return the pair of these names, each decided on or new in this file."""
        ridden_by, horse_row = self._member("rider", rider), self._member("horse", horse)
        decided = ridden_by.pk is not None or horse_row.pk is not None
        pair = self.members.get((ridden_by.pk or rider, horse_row.pk or horse))
        if pair is not None and decided:
            return pair
        if pair is not None:
            sentence = (
                f"The pairs {describe(pair.key)} and {describe(key)} are both {rider} with {horse}. Give them "
                "the same id, or the names that tell them apart."
            )
            self.problems.append((f"row {number}, pair", sentence))
        return self._made(key, cast("Rider", ridden_by), cast("Horse", horse_row), spelt=(rider, horse))

    def _member(self, kind: str, name: str) -> Rider | Horse:
        found = self.names.member(kind, name) or self.fresh.spelt.get((kind, name))
        if found is None:
            found = Rider(name=name) if kind == "rider" else Horse(name=name)
            self.fresh.add_member(kind, name, found)
        return found

    def _made(self, key: str, rider: Rider, horse: Horse, *, spelt: tuple[str, str] = ("", "")) -> Pair:
        pair = Pair(key=key, rider=rider, horse=horse)
        self.members[rider.pk or spelt[0], horse.pk or spelt[1]] = pair
        self.fresh.add_pair(pair, rider=spelt[0], horse=spelt[1])
        return pair
