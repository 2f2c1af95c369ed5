from __future__ import annotations

import pytest

from competitions.desk.overview import overview_of
from tests.builders import make_class, mark_sheet

pytestmark = pytest.mark.django_db


def test_a_figure_of_a_running_ride_keeps_its_noughts():
    """A database that reads JSON makes a float of "64.300"; the desk reads it as the text that was published."""
    competition_class = make_class(entries=1)
    mark_sheet(competition_class.entries.get(), marks={"1": 60, "3": 70})
    (ride,) = overview_of(competition_class).rides
    assert ride.so_far == "65.000"
