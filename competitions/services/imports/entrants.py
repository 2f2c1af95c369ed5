"""Riders, horses and pairs that a file of entries names: found by registration, by name only inside the competition."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from competitions.models import Competition
from riders.csvrows import Row
from riders.intake import one_line
from riders.models import Horse, Pair, Rider
from riders.services.people import born_fault, name_fault, namesake_fault, new_pair_key, update_horse

_Named = TypeVar("_Named", Rider, Horse)


@dataclass(slots=True)
class _HorseDetails:
    row: Row
    born: int | None
    owner: str


class _Members(Generic[_Named]):
    """The riders, or the horses, of one file; new ones are saved by ``save``."""

    def __init__(self, kind: str, model: type[_Named], *, rows: Iterable[Row], there: list[_Named]) -> None:
        self.kind = kind
        self.model: type[_Named] = model
        self.registrations: dict[str, set[str]] = defaultdict(set)
        for row in rows:
            registration = row.raw(f"{kind}_registration")
            if registration:
                self.registrations[one_line(row.raw(kind))].add(registration)
        named: set[str] = set().union(*self.registrations.values())
        registered = model._default_manager.exclude(registration="")  # noqa: SLF001 - Django's name for it
        self.by_registration: dict[str, _Named] = {
            member.registration: member for member in registered if member.registration in named
        }
        self.by_registration |= {member.registration: member for member in there if member.registration}
        self.by_name: dict[str, list[_Named]] = defaultdict(list)
        for member in there:
            self.by_name[member.name].append(member)
        self.to_save: list[_Named] = []

    def find(self, row: Row, *, name: str, registration: str) -> _Named | None:
        if registration:
            return self._registered(row, name, registration)
        namesakes = self.by_name[name]
        if len(namesakes) > 1 or len(self.registrations[name]) > 1:
            row.problem(self.kind, namesake_fault(self.kind, name=name))
            return None
        return namesakes[0] if namesakes else self._new(name, "")

    def _registered(self, row: Row, name: str, registration: str) -> _Named:
        known: _Named | None = self.by_registration.get(registration)
        if known is not None:
            fault = name_fault(self.kind, registration=registration, known=known.name, given=name)
            if fault:
                row.problem(f"{self.kind}_registration", fault)
            if known not in self.by_name[known.name]:
                self.by_name[known.name].append(known)
            return known
        nameless = [member for member in self.by_name[name] if not member.registration]
        if len(nameless) == 1 and len(self.registrations[name]) == 1:
            (member,) = nameless
            member.registration = registration
            self.to_save.append(member)
        else:
            member = self._new(name, registration)
        self.by_registration[registration] = member
        return member

    def _new(self, name: str, registration: str) -> _Named:
        member: _Named = self.model(name=name, registration=registration)
        self.by_name[name].append(member)
        self.to_save.append(member)
        return member

    def save(self) -> None:
        for member in self.to_save:
            member.save()


class EntrantBook:
    """Who rides what, for one file; nothing is written before ``save``."""

    def __init__(self, competition: Competition, rows: list[Row]) -> None:
        entered = {"pairs__entries__competition_class__competition": competition}
        riders = Rider.objects.filter(**entered).distinct()
        horses = Horse.objects.filter(**entered).select_related("owner").distinct()
        self.riders = _Members("rider", Rider, rows=rows, there=list(riders))
        self.horses = _Members("horse", Horse, rows=rows, there=list(horses))
        self.details: dict[int, _HorseDetails] = {}
        self._kept: list[Horse] = []

    def read(self, row: Row) -> tuple[Rider, Horse] | None:
        """Return who the row is about, or None where that is not clear; rows with registrations come first."""
        rider_name, rider_registration = row.text("rider", required=True), row.text("rider_registration", most=40)
        horse_name, horse_registration = row.text("horse", required=True), row.text("horse_registration", most=40)
        born = row.whole("horse_born", least=1970, most=2100)
        owner = row.text("owner")
        if row.faulty:
            return None
        rider = self.riders.find(row, name=rider_name, registration=rider_registration)
        horse = self.horses.find(row, name=horse_name, registration=horse_registration)
        if horse is not None:
            self._note_details(row, horse, born, owner)
        return (rider, horse) if rider is not None and horse is not None else None

    def _note_details(self, row: Row, horse: Horse, born: int | None, owner: str) -> None:
        fault = born_fault(horse, born)
        if fault:
            row.problem("horse_born", fault)
        details = self.details.setdefault(id(horse), _HorseDetails(row, born, owner))
        self._kept.append(horse)
        for column, before, given in (("horse_born", details.born, born), ("owner", details.owner, owner)):
            if before and given and before != given:
                sentence = (
                    f"Row {details.row.number} says {before} of the same horse, here stands {given}. Correct one."
                )
                row.problem(column, sentence)
        details.born = details.born or born
        details.owner = details.owner or owner

    def save(self) -> set[int]:
        """Write the people and horses; return the ids of the known horses whose details changed."""
        self.riders.save()
        self.horses.save()
        changed = set()
        for horse in {id(horse): horse for horse in self._kept}.values():
            details = self.details[id(horse)]
            if update_horse(horse, born=details.born, owner=details.owner):
                changed.add(horse.pk)
        return changed


class PairBook:
    """The pairs of saved riders and horses, made as they are asked for."""

    def __init__(self, riders: Iterable[Rider]) -> None:
        found = Pair.objects.filter(rider__in=[rider.pk for rider in riders])
        self.pairs = {(pair.rider_id, pair.horse_id): pair for pair in found}

    def pair(self, rider: Rider, horse: Horse) -> Pair:
        key = (rider.pk, horse.pk)
        if key not in self.pairs:
            self.pairs[key] = Pair.objects.create(rider=rider, horse=horse, key=new_pair_key(rider, horse))
        return self.pairs[key]
