"""How one judge's marks compare with the panel's, for that judge to learn from: exact sums, rounded once."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from competitions.models import CompetitionClass, Entry, PanelSeat, Sheet
from competitions.selectors.documents import items_of_seat, test_of
from scoring.exact import Rounding, format_units, round_to_units

FEWEST_RIDES_SHARED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemComparison:
    """One item over all rides that this seat and another marked.

    ``own`` and ``panel`` are means (the panel's without this seat), ``difference`` own less panel, ``furthest`` the
    largest single difference, ``spread`` the mean distance between the panel's highest and lowest mark, this one's
    included. All are marks with two decimals, as text.
    """

    item_id: str
    label: str
    rides: int
    own: str
    panel: str
    difference: str
    furthest: str
    spread: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RideComparison:
    """One ride: the mean difference of this seat's marks from the panel's, and the item that differs most."""

    number: str
    rider: str
    horse: str
    difference: str
    furthest: str
    furthest_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelComparison:
    """All rides of a class: ``others`` seats beside this one, and the mean difference and spread over all marks."""

    others: int
    items: tuple[ItemComparison, ...]
    rides: tuple[RideComparison, ...]
    difference: str
    spread: str

    @property
    def shown_to_others(self) -> tuple[ItemComparison, ...]:
        """The items of enough rides that no mean is a single ride's mark."""
        return tuple(item for item in self.items if item.rides >= FEWEST_RIDES_SHARED)


@dataclass(frozen=True, slots=True)
class _Pair:
    """This seat's mark of one item in one ride beside the others': tenths."""

    item_id: str
    entry_id: int
    own: int
    others: tuple[int, ...]

    @property
    def panel(self) -> Fraction:
        return Fraction(sum(self.others), len(self.others))

    @property
    def difference(self) -> Fraction:
        return self.own - self.panel

    @property
    def spread(self) -> int:
        marks = (self.own, *self.others)
        return max(marks) - min(marks)


def panel_comparison(seat: PanelSeat) -> PanelComparison:
    cls = seat.competition_class
    pairs = _pairs(seat)
    items = {item.id: item for item in items_of_seat(test_of(cls), seat)}
    ordered = sorted(items.values(), key=lambda item: item.collective)
    by_item = [(item, [pair for pair in pairs if pair.item_id == item.id]) for item in ordered]
    return PanelComparison(
        others=cls.seats.exclude(pk=seat.pk).count(),
        items=tuple(_item(item.id, item.label, found) for item, found in by_item if found),
        rides=tuple(_rides(cls, pairs, labels={item.id: item.label for item in items.values()})),
        difference=_signed(_mean([pair.difference for pair in pairs])) if pairs else "",
        spread=_mark(_mean([Fraction(pair.spread) for pair in pairs])) if pairs else "",
    )


def _pairs(seat: PanelSeat) -> list[_Pair]:
    sheets = Sheet.objects.filter(
        entry__competition_class=seat.competition_class, entry__status=Entry.Status.COMPLETED, given_result__isnull=True
    ).order_by("entry__order", "entry_id", "seat__order")
    own: dict[int, dict[str, int]] = {}
    others: dict[int, list[dict[str, int]]] = {}
    for sheet in sheets:
        written = {item: mark for item, mark in sheet.marks.items() if item not in sheet.substitutes}
        if sheet.seat_id == seat.pk:
            own[sheet.entry_id] = written
        else:
            others.setdefault(sheet.entry_id, []).append(written)
    found = []
    for entry_id, marks in own.items():
        for item, mark in marks.items():
            beside = tuple(written[item] for written in others.get(entry_id, ()) if item in written)
            if beside:
                found.append(_Pair(item, entry_id, mark, beside))
    return found


def _item(item_id: str, label: str, pairs: list[_Pair]) -> ItemComparison:
    return ItemComparison(
        item_id=item_id,
        label=label,
        rides=len(pairs),
        own=_mark(_mean([Fraction(pair.own) for pair in pairs])),
        panel=_mark(_mean([pair.panel for pair in pairs])),
        difference=_signed(_mean([pair.difference for pair in pairs])),
        furthest=_signed(max((pair.difference for pair in pairs), key=abs)),
        spread=_mark(_mean([Fraction(pair.spread) for pair in pairs])),
    )


def _rides(cls: CompetitionClass, pairs: list[_Pair], *, labels: dict[str, str]) -> list[RideComparison]:
    entries = cls.entries.select_related("pair__rider", "pair__horse").in_bulk({pair.entry_id for pair in pairs})
    rides = []
    for entry_id in dict.fromkeys(pair.entry_id for pair in pairs):
        found = [pair for pair in pairs if pair.entry_id == entry_id]
        furthest = max(found, key=lambda pair: abs(pair.difference))
        entry = entries[entry_id]
        rides.append(
            RideComparison(
                number=entry.number,
                rider=entry.pair.rider.name,
                horse=entry.pair.horse.name,
                difference=_signed(_mean([pair.difference for pair in found])),
                furthest=_signed(furthest.difference),
                furthest_at=labels[furthest.item_id],
            )
        )
    return rides


def _mean(values: list[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def _mark(tenths: Fraction) -> str:
    return format_units(round_to_units(tenths / 10, decimals=2, rounding=Rounding.HALF_UP), decimals=2)


def _signed(tenths: Fraction) -> str:
    """Write a difference with its sign: +0.25, -0.25, 0.00."""
    text = _mark(abs(tenths))
    return text if text == "0.00" else f"{'-' if tenths < 0 else '+'}{text}"
