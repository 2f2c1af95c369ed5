"""The pairs that a file of scores names: known ones, and those to be made, with nobody merged by name across files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import cast

from riders.intake import Problems, one_line
from riders.models import Horse, NameDecision, Pair, Rider
from riders.services.known_names import KnownNames
from riders.services.people import name_fault, new_pair_key
from scoring.documents import describe
from scoring.season.ledger import Score as Read


@dataclass(slots=True)
class PairBook:
    """The pairs that the rows of one file name, found or to be made; nothing is written before ``write``.

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
    new_riders: dict[str, Rider] = field(default_factory=dict)
    new_horses: dict[str, Horse] = field(default_factory=dict)
    fresh: dict[str, Pair] = field(default_factory=dict)
    relied_on: dict[str, list[NameDecision]] = field(default_factory=dict)
    registered: frozenset[tuple[str, str]] = frozenset()
    """(kind, spelling) of names that come with a registration: rows of scores give none."""

    def __post_init__(self) -> None:
        self.names = KnownNames(self.source)
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

    def read(self, number: int, score: Read) -> None:
        key, rider, horse = score.pair or "", one_line(score.rider or ""), one_line(score.horse or "")
        pair = self.known.get(key) or self.fresh.get(key)
        if pair is None:
            pair = self._registered(key) or self._named(number, key, rider, horse)
        for kind, member, given in (("rider", pair.rider, rider), ("horse", pair.horse, horse)):
            if not self.names.accepts(kind, member, given):
                self.problems.append((f"row {number}, {kind}", self._other_name(key, kind, member, given)))

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
                pair = Pair(rider=self.riders[key[:position]], horse=self.horses[key[position + 1 :]])
                self.fresh[key] = pair
                return pair
        return None

    def _named(self, number: int, key: str, rider: str, horse: str) -> Pair:
        """Return the pair of these names, each decided on or new in this file."""
        ridden_by = self.names.member("rider", rider) or self.new_riders.setdefault(rider, Rider(name=rider))
        horse_row = self.names.member("horse", horse) or self.new_horses.setdefault(horse, Horse(name=horse))
        decided = ridden_by.pk is not None or horse_row.pk is not None
        place = (ridden_by.pk or rider, horse_row.pk or horse)
        pair = self.members.get(place)
        if pair is not None and decided:
            self.known[key] = pair
            return pair
        if pair is not None:
            sentence = (
                f"The pairs {describe(pair.key)} and {describe(key)} are both {rider} with {horse}. Give them "
                "the same id, or the names that tell them apart."
            )
            self.problems.append((f"row {number}, pair", sentence))
        pair = Pair(key=key, rider=cast("Rider", ridden_by), horse=cast("Horse", horse_row))
        self.fresh[key] = self.members[place] = pair
        self.relied_on[key] = [
            decision
            for decision in (self.names.decided("rider", rider), self.names.decided("horse", horse))
            if decision is not None
        ]
        return pair

    def write(self) -> None:
        """Make the new riders, horses and pairs, and note on which decisions the pairs rest."""
        Rider.objects.bulk_create(list(self.new_riders.values()), batch_size=2000)
        Horse.objects.bulk_create(list(self.new_horses.values()), batch_size=2000)
        for pair in self.fresh.values():
            pair.rider_id, pair.horse_id = pair.rider.pk, pair.horse.pk
            pair.key = pair.key or new_pair_key(pair.rider, pair.horse)
        Pair.objects.bulk_create(list(self.fresh.values()), batch_size=2000)
        self._keep_decisions()

    def _keep_decisions(self) -> None:
        for kind, spelling, member in self._new_members():
            decision = self.names.decided(kind, spelling)
            if decision is not None:
                setattr(decision, kind, member)
        touched: dict[int, NameDecision] = {}
        for key, decisions in self.relied_on.items():
            for decision in decisions:
                decision.made.append(self.fresh[key].pk)
                touched[decision.pk] = decision
        for decision in touched.values():
            decision.save(update_fields=["rider", "horse", "made"])

    def _new_members(self) -> Iterator[tuple[str, str, Rider | Horse]]:
        yield from (("rider", name, rider) for name, rider in self.new_riders.items())
        yield from (("horse", name, horse) for name, horse in self.new_horses.items())

    def fresh_members(self) -> Iterator[tuple[tuple[str, str], Rider | Horse]]:
        """Yield who is made, by kind and spelling."""
        yield from (((kind, spelling), member) for kind, spelling, member in self._new_members())

    def undecided(self) -> Iterator[tuple[str, str]]:
        """Yield the (kind, spelling) of those who would be made and on whom nobody has decided."""
        for kind, spelling, _ in self._new_members():
            if self.names.decided(kind, spelling) is None:
                yield kind, spelling

    def pair_of(self, score: Read) -> Pair:
        key = score.pair or ""
        return self.known.get(key) or self.fresh[key]
