"""Who sits where on the panel of a class, and who presides."""

from __future__ import annotations

from collections.abc import Iterable

from competitions.models import PanelSeat

_MIDDLE = "C"


def presiding_seat(seats: Iterable[PanelSeat]) -> PanelSeat | None:
    """Return the seat whose judge decides on errors of course: C, or where nobody sits at C the first of the panel.

    The president's decision binds the other judges (KNHS Art. 128).
    """
    panel = sorted(seats, key=lambda seat: (seat.seat.upper() != _MIDDLE, seat.order, seat.seat))
    return panel[0] if panel else None
