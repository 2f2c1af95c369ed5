from __future__ import annotations

import threading

import pytest
from django.db import connection

from competitions.models import Entry, Sheet, SheetRevision
from competitions.services.sheets import SheetChanges, save_sheet
from riders.errors import Conflict
from riders.models import Owner
from riders.transactions import write_transaction
from tests.builders import make_class, mark_sheet


@pytest.mark.django_db(transaction=True)
def test_the_embedded_database_is_set_up_to_keep_what_it_calls_saved():
    if connection.vendor != "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("show fsync")
            assert cursor.fetchone()
        return
    with connection.cursor() as cursor:
        answers = {}
        for name in ("busy_timeout", "synchronous", "foreign_keys"):
            cursor.execute(f"PRAGMA {name}")
            answers[name] = cursor.fetchone()[0]
    assert answers == {"busy_timeout": 20000, "synchronous": 2, "foreign_keys": 1}


@pytest.mark.django_db(transaction=True)
def test_eight_keyers_at_once_lose_nothing():
    competition_class = make_class(entries=8)
    entries = list(competition_class.entries.order_by("pk"))
    failures: list[Exception] = []

    def key(entry_number: int) -> None:
        try:
            entry = competition_class.entries.get(pk=entries[entry_number].pk)
            for mark in (60, 65, 70):
                mark_sheet(entry, mark=mark)
        except Exception as error:  # noqa: BLE001 - reported below
            failures.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=key, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert Sheet.objects.filter(version=3).count() == 8
    version = competition_class.version
    competition_class.refresh_from_db()
    assert competition_class.version == version + 24, "every saving moved the clock once"


@pytest.mark.django_db(transaction=True)
def test_of_two_keyers_on_one_sheet_exactly_one_wins():
    entry = make_class(entries=1).entries.get()
    start = threading.Barrier(2)
    outcomes: list[str] = []

    def key(mark: int) -> None:
        mine = Entry.objects.select_related("competition_class").get(pk=entry.pk)
        seat = mine.competition_class.seats.get()
        start.wait()
        try:
            save_sheet(
                entry=mine,
                seat=seat,
                expected_version=0,
                changes=SheetChanges(marks={"1": mark}),
                by=None,
                source=SheetRevision.Source.DESK,
            )
            outcomes.append(f"saved {mark}")
        except Conflict as told:
            outcomes.append(f"told of {told.current.marks['1']}")
        finally:
            connection.close()

    threads = [threading.Thread(target=key, args=(mark,)) for mark in (60, 70)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = entry.sheets.get().marks["1"]
    assert sorted(outcomes) == sorted([f"saved {kept}", f"told of {kept}"])


@pytest.mark.django_db(transaction=True)
def test_a_transaction_that_fails_leaves_nothing_behind():
    def fail() -> None:
        with write_transaction():
            Owner.objects.create(name="Someone")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert not Owner.objects.exists()
