"""The riders, horses and pairs that a file makes: gathered while it is compared, and written together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from riders.models import Horse, NameDecision, Owner, Pair, Rider
from riders.services.known_names import KnownNames
from riders.services.namesakes import tell_apart

_AT_ONCE = 2000


@dataclass(slots=True)
class NewPeople:
    """Who is made by one file; ``spelt`` has the riders and horses by kind and spelling, ``owners`` names of owners.

    ``grown`` are horses known before, whose year of birth the file adds. Nothing is written before ``write``.
    """

    names: KnownNames
    riders: list[Rider] = field(default_factory=list)
    horses: list[Horse] = field(default_factory=list)
    spelt: dict[tuple[str, str], Rider | Horse] = field(default_factory=dict)
    pairs: list[Pair] = field(default_factory=list)
    relied_on: list[tuple[NameDecision, Pair]] = field(default_factory=list)
    owners: list[tuple[Horse, str]] = field(default_factory=list)
    grown: list[Horse] = field(default_factory=list)

    def add_member(self, kind: str, spelling: str, member: Rider | Horse) -> None:
        self.spelt[kind, spelling] = member
        if isinstance(member, Rider):
            self.riders.append(member)
        else:
            self.horses.append(member)

    def add_pair(self, pair: Pair, *, rider: str, horse: str) -> None:
        """Take a new pair of members that the file spells so."""
        self.pairs.append(pair)
        decisions = (self.names.decided("rider", rider), self.names.decided("horse", horse))
        self.relied_on += [(decision, pair) for decision in decisions if decision is not None]

    def undecided(self) -> Iterator[tuple[str, str]]:
        """Yield the (kind, spelling) of those who would be made and on whom nobody has decided."""
        yield from (place for place in self.spelt if self.names.decided(*place) is None)

    def write(self) -> None:
        """Make them, and note who was made for a name that was decided on, and which pairs rest on which decision."""
        self._write_owners()
        tell_apart([*self.riders, *self.horses])
        Rider.objects.bulk_create(self.riders, batch_size=_AT_ONCE)
        Horse.objects.bulk_create(self.horses, batch_size=_AT_ONCE)
        Horse.objects.bulk_update(self.grown, ["born"], batch_size=_AT_ONCE)
        for pair in self.pairs:
            pair.rider_id, pair.horse_id = pair.rider.pk, pair.horse.pk
        Pair.objects.bulk_create(self.pairs, batch_size=_AT_ONCE)
        self._keep_decisions()

    def _write_owners(self) -> None:
        wanted = sorted({name for _, name in self.owners})
        known: dict[str, Owner] = {}
        for names in _parts(wanted):
            known |= {owner.name: owner for owner in Owner.objects.filter(name__in=names)}
        made = [Owner(name=name) for name in wanted if name not in known]
        Owner.objects.bulk_create(made, batch_size=_AT_ONCE)
        known |= {owner.name: owner for owner in made}
        for horse, name in self.owners:
            horse.owner = known[name]

    def _keep_decisions(self) -> None:
        touched: dict[int, NameDecision] = {}
        for (kind, spelling), member in self.spelt.items():
            decision = self.names.decided(kind, spelling)
            if decision is not None:
                setattr(decision, kind, member)
                touched[decision.pk] = decision
        for decision, pair in self.relied_on:
            decision.made.append(pair.pk)
            touched[decision.pk] = decision
        NameDecision.objects.bulk_update(touched.values(), ["rider", "horse", "made"], batch_size=_AT_ONCE)


def _parts(names: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(names), 500):
        yield names[start : start + 500]
