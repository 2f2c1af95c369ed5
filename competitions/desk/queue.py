"""The pile of paper: which ride comes before and after, and which sheet is keyed next."""

from __future__ import annotations

from competitions.desk.overview import SHEETS_OPTIONAL
from competitions.models import CompetitionClass, Entry, PanelSeat, Sheet
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.summaries import is_full


def neighbours(cls: CompetitionClass, *, entry: Entry) -> tuple[Entry | None, Entry | None]:
    """Return the entries that ride before and after this one."""
    entries = _in_order(cls)
    place = next(i for i, other in enumerate(entries) if other.pk == entry.pk)
    return (entries[place - 1] if place else None, entries[place + 1] if place + 1 < len(entries) else None)


def next_sheet(cls: CompetitionClass, *, entry: Entry, seat: PanelSeat, way: str) -> tuple[Entry, PanelSeat] | None:
    """Return the next sheet that is not full yet, after this one.

    ``ride`` keeps to the seat and goes down the running order, then on to the other seats; ``seat`` does all seats of a
    ride before the next ride. The search starts again at the top, so that what was left out comes up at the end.
    """
    entries = _in_order(cls)
    seats = list(cls.seats.all())
    if way == "seat":
        pile = [(other, place) for other in entries for place in seats]
    else:
        pile = [(other, place) for place in seats for other in entries]
    here = next(i for i, (other, place) in enumerate(pile) if (other.pk, place.pk) == (entry.pk, seat.pk))
    full = _full(cls, seats)
    for other, place in pile[here + 1 :] + pile[:here]:
        if other.status not in SHEETS_OPTIONAL and (other.pk, place.pk) not in full:
            return other, place
    return None


def _in_order(cls: CompetitionClass) -> list[Entry]:
    return list(cls.entries.select_related("pair__rider", "pair__horse").order_by("order", "number", "pk"))


def _full(cls: CompetitionClass, seats: list[PanelSeat]) -> set[tuple[int, int]]:
    test = test_of(cls)
    items = {seat.pk: items_of_seat(test, seat) for seat in seats}
    sheets = Sheet.objects.filter(entry__competition_class=cls).only("entry", "seat", "marks", "given_result")
    return {(sheet.entry_id, sheet.seat_id) for sheet in sheets if is_full(sheet, items[sheet.seat_id])}
