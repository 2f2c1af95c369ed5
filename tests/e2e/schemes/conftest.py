from __future__ import annotations

from random import Random

import pytest

from riders.services.standings import rebuild_standings
from tests.builders import make_association, make_season, make_user
from tests.e2e.desk.conftest import open_as  # noqa: F401 - a fixture
from tests.riders.ledger_rows import post, row


@pytest.fixture
def keeper(transactional_db):
    return make_user("keeper", first_name="Ida", last_name="Moss")


@pytest.fixture
def season(keeper):
    """Return a season of eight pairs with four scores each, at four shows before two judges."""
    random, season = Random(20_270_205), make_season(make_association(keeper=keeper))
    for n in range(1, 9):
        for show in range(1, 5):
            post(
                row(
                    n,
                    key=f"s{n}-{show}",
                    competition=f"show-{show}",
                    level=("novice", "medium")[n % 2],
                    judges=[f"Judge {show % 2}"],
                    percentage=f"{random.randrange(58_000, 74_000) / 1000:.3f}",
                )
            )
    rebuild_standings(season)
    return season
