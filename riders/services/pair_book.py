"""The pairs that a file of scores names: known ones, and those to be made, with nobody merged by name across files."""

from __future__ import annotations

from dataclasses import dataclass, field

from riders.intake import Problems, one_line
from riders.models import Horse, Pair, Rider
from riders.services.people import name_fault, new_pair_key
from scoring.documents import describe
from scoring.season.ledger import Score as Read


@dataclass(slots=True)
class PairBook:
    """The pairs that the rows of one file name, found or to be made; nothing is written before ``write``."""

    problems: Problems
    known: dict[str, Pair] = field(init=False)
    riders: dict[str, Rider] = field(init=False)
    horses: dict[str, Horse] = field(init=False)
    new_riders: dict[str, Rider] = field(default_factory=dict)
    new_horses: dict[str, Horse] = field(default_factory=dict)
    fresh: dict[str, Pair] = field(default_factory=dict)
    named: dict[tuple[str, str], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        pairs = list(Pair.objects.select_related("rider", "horse"))
        self.known = {
            f"{pair.rider.registration}-{pair.horse.registration}": pair
            for pair in pairs
            if pair.rider.registration and pair.horse.registration
        }
        self.known |= {pair.key: pair for pair in pairs}
        self.riders = {rider.registration: rider for rider in Rider.objects.exclude(registration="")}
        self.horses = {horse.registration: horse for horse in Horse.objects.exclude(registration="")}

    def read(self, number: int, score: Read) -> None:
        key, rider, horse = score.pair or "", one_line(score.rider or ""), one_line(score.horse or "")
        pair = self.known.get(key) or self.fresh.get(key)
        if pair is None:
            self.fresh[key] = pair = self._new(number, key, rider, horse)
        for kind, member, given in (("rider", pair.rider, rider), ("horse", pair.horse, horse)):
            if member.name != given:
                self.problems.append((f"row {number}, {kind}", self._other_name(key, kind, member, given)))

    @staticmethod
    def _other_name(key: str, kind: str, member: Rider | Horse, given: str) -> str:
        if member.registration:
            return name_fault(kind, registration=member.registration, known=member.name, given=given)
        return (
            f"The pair {describe(key)} has the {kind} {describe(member.name)}, but here stands {describe(given)}. "
            "Correct the name or the pair."
        )

    def _new(self, number: int, key: str, rider: str, horse: str) -> Pair:
        for position, character in enumerate(key):
            if character == "-" and key[:position] in self.riders and key[position + 1 :] in self.horses:
                return Pair(rider=self.riders[key[:position]], horse=self.horses[key[position + 1 :]])
        namesake = self.named.setdefault((rider, horse), key)
        if namesake != key:
            sentence = (
                f"The pairs {describe(namesake)} and {describe(key)} are both {rider} with {horse}. Give them "
                "the same id, or the names that tell them apart."
            )
            self.problems.append((f"row {number}, pair", sentence))
        return Pair(
            key=key,
            rider=self.new_riders.setdefault(rider, Rider(name=rider)),
            horse=self.new_horses.setdefault(horse, Horse(name=horse)),
        )

    def write(self) -> None:
        for pair in self.fresh.values():
            for member in (pair.rider, pair.horse):
                if member.pk is None:
                    member.save()
            pair.rider_id, pair.horse_id = pair.rider.pk, pair.horse.pk
            pair.key = pair.key or new_pair_key(pair.rider, pair.horse)
            pair.save()

    def pair_of(self, score: Read) -> Pair:
        key = score.pair or ""
        return self.known.get(key) or self.fresh[key]
