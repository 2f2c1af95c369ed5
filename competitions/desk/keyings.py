"""Second keyings as the desk shows them: the list of a class, the pile of who keys again, and what was typed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.urls import reverse

import scoring
from competitions.models import CompetitionClass, Entry, SecondKeyingMode, Sheet
from competitions.selectors.keyings import (
    DIFFERS,
    WAITING,
    Keyings,
    chosen_sheets,
    keyings_of_class,
    mode_of,
    writers_of,
)
from riders.csvrows import write_rows
from riders.models import User

KEYING_COLUMNS = (
    *("class", "number", "rider", "horse", "seat", "field", "what", "first", "second", "state", "value", "reason"),
    *("by", "at", "keyed_again_by"),
)


@dataclass(frozen=True, slots=True)
class ListedKeyings:
    """One sheet of the list; ``mine`` says that this person may key it again, ``url`` where that or more is done."""

    keyings: Keyings
    mine: bool
    url: str


@dataclass(frozen=True, slots=True)
class ChoiceLine:
    """One ride with a box for each seat: the name of the box, the seat and whether it is ticked."""

    entry: Entry
    boxes: tuple[tuple[str, str, bool], ...]


def listed(cls: CompetitionClass, user: User) -> list[ListedKeyings]:
    """Return the sheets that are keyed twice in the order of the pile."""
    found = keyings_of_class(cls)
    writers = writers_of(keyings.sheet for keyings in found)
    return [
        ListedKeyings(
            keyings,
            mine=keyings.state == WAITING and user.pk not in writers[keyings.sheet.pk],
            url=address_of(cls, keyings),
        )
        for keyings in found
    ]


def address_of(cls: CompetitionClass, keyings: Keyings) -> str:
    """Return where one goes on with a sheet: keying it again, or the two keyings side by side."""
    name = "desk-key-again" if keyings.state == WAITING else "desk-keyings-compared"
    return reverse(name, args=[cls.competition.slug, cls.number, keyings.entry.number, keyings.seat.seat])


def next_to_key(cls: CompetitionClass, user: User, *, after: Keyings | None = None, way: str = "ride") -> str:
    """Return the address of the next sheet that this person may key again, or of the list when there is none.

    ``ride`` keeps to the seat and goes down the running order, ``seat`` does all seats of a ride first.
    """
    lines = listed(cls, user)
    if way == "seat":
        lines.sort(key=lambda line: (line.keyings.entry.order or 0, line.keyings.entry.pk, line.keyings.seat.order))
    places = [line.keyings.sheet.pk for line in lines]
    here = places.index(after.sheet.pk) + 1 if after and after.sheet.pk in places else 0
    for line in lines[here:] + lines[:here]:
        if line.mine:
            return line.url
    return reverse("desk-keyings", args=[cls.competition.slug, cls.number])


def choice_lines(cls: CompetitionClass) -> list[ChoiceLine]:
    """Return every ride with a box for each seat, where the class keys chosen sheets twice."""
    if mode_of(cls) != SecondKeyingMode.CHOSEN:
        return []
    chosen, seats = chosen_sheets(cls), list(cls.seats.all())
    entries = cls.entries.select_related("pair__rider", "pair__horse").order_by("order", "number", "pk")
    return [
        ChoiceLine(
            entry,
            tuple((f"{entry.pk}-{seat.pk}", seat.seat, (entry.pk, seat.pk) in chosen) for seat in seats),
        )
        for entry in entries
    ]


def read_choices(values: Iterable[str]) -> set[tuple[int, int]]:
    """Read the ticked boxes; what is no box of such a list counts as a sheet that does not exist."""
    places = set()
    for value in values:
        entry, _, seat = value.partition("-")
        whole = all(part.isascii() and part.isdigit() and len(part) < 10 for part in (entry, seat))
        places.add((int(entry), int(seat)) if whole else (0, 0))
    return places


def may_key_again(sheet: Sheet | None, keyings: Keyings | None, user: User) -> bool:
    """Tell whether a sheet waits for its second keying and this person could do it without having seen the first."""
    if sheet is None or keyings is None or keyings.state != WAITING:
        return False
    return user.pk not in writers_of([sheet])[sheet.pk]


def reading_of(values: Mapping[str, str], *, items: Sequence[scoring.Item], remarks: bool) -> dict[str, str]:
    """Return what was typed by the fields in which keyings are compared."""
    given = values["given"].strip()
    read = {name: values[name] for name in ("errors", "total", "signed", "deducted", "deducted-percent")}
    read["given"] = f"{values['given_kind']} {given}" if given else ""
    for item in items:
        read[f"mark.{item.id}"] = values[f"mark-{item.id}"]
        if remarks:
            read[f"remark.{item.id}"] = values[f"remark-{item.id}"]
    if remarks:
        read["overall"] = values["overall"]
    return read


def compared_in_words(keyings: Keyings) -> str:
    """Say how two keyings compare."""
    if keyings.state == DIFFERS:
        many = len(keyings.differences)
        return f"The keyings differ in {many} fields." if many > 1 else "The keyings differ in one field."
    return "Both keyings agree: the sheet is final."


def keyings_csv(cls: CompetitionClass) -> Iterator[str]:
    """Yield the lines of a file of every field in which two keyings differ or differed, with what was decided."""
    return write_rows(KEYING_COLUMNS, (row for keyings in keyings_of_class(cls) for row in _rows(cls, keyings)))


def _rows(cls: CompetitionClass, keyings: Keyings) -> Iterator[Mapping[str, str]]:
    place = {
        "class": cls.number,
        "number": keyings.entry.number,
        "rider": keyings.entry.pair.rider.name,
        "horse": keyings.entry.pair.horse.name,
        "seat": keyings.seat.seat,
        "keyed_again_by": str(keyings.keying.by or "") if keyings.keying else "",
    }
    if keyings.keying is None:
        yield place | {"state": "waiting"}
    zone = cls.competition.zone
    for row in keyings.decisions:
        yield place | {
            "field": row.field,
            "what": keyings.labels.get(row.field, row.field),
            "first": row.first,
            "second": row.second,
            "state": "decided",
            "value": row.value,
            "reason": row.reason,
            "by": str(row.by or ""),
            "at": row.at.astimezone(zone).strftime("%Y-%m-%d %H:%M"),
        }
    for difference in keyings.differences:
        yield place | {
            "field": difference.field,
            "what": difference.label,
            "first": difference.first,
            "second": difference.second,
            "state": "open",
        }
