from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from competitions.models import CompetitionClass
from riders.models import User
from riders.services import workqueue as queue
from tests import builders


class Sent(list[str]):
    """The ids that were handed to the queue, in order."""


@pytest.fixture(autouse=True)
def files(settings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "files"
    return settings.MEDIA_ROOT


@pytest.fixture(autouse=True)
def broker_awake() -> Iterator[None]:
    queue.wake()
    yield
    queue.wake()


@pytest.fixture
def sent(monkeypatch) -> Sent:
    """Stand in for the broker: a list of what it was given."""
    taken = Sent()
    monkeypatch.setattr(queue.current_app, "send_task", lambda name, args, retry: taken.append(args[0]))
    return taken


@pytest.fixture
def office() -> User:
    return builders.make_user("office")


@pytest.fixture
def judged_class(office: User) -> CompetitionClass:
    """Three completed rides before three judges, in the competition of ``office``."""
    competition = builders.make_competition(office=office)
    competition_class = builders.make_class(competition, seats="CHB", entries=3)
    for entry in competition_class.entries.all():
        for place, seat in enumerate("CHB"):
            builders.mark_sheet(entry, seat, mark=60 + 5 * (int(entry.number) % 3) + 5 * place)
    competition_class.refresh_from_db()
    return competition_class
