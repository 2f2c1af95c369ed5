"""Write transactions: durable, and on SQLite one after the other in the order in which they came.

SQLite's own waiting polls and is unfair (a writer may wait for seconds under load), so writers of this machine first
queue on a lock: threads of one process on a lock of their own, processes on an advisory lock on a file
in the data folder.
"""

from __future__ import annotations

import fcntl
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.conf import settings
from django.db import connection, transaction

_threads = threading.Lock()
_LEDGER = 0x6C656467
"""The number of the advisory lock on PostgreSQL."""
_opening: ContextVar[Callable[[], None] | None] = ContextVar("opening", default=None)


@contextmanager
def write_transaction() -> Iterator[None]:
    """Run one service's writes as one durable transaction; whatever leaves the database leaves by ``on_commit``."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        with transaction.atomic(durable=True):
            _open()
            yield
        return
    with _threads:
        descriptor = os.open(settings.DATA_DIR / "writers.lock", os.O_CREAT | os.O_RDWR, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            with transaction.atomic(durable=True):
                _open()
                yield
        finally:
            os.close(descriptor)


@contextmanager
def opened_by(act: Callable[[], None]) -> Iterator[None]:
    """Let ``act`` be the first thing done inside every write transaction of this block: it stands or falls with it."""
    token = _opening.set(act)
    try:
        yield
    finally:
        _opening.reset(token)


def take_ledger_turn() -> None:
    """Let those who change the ledger's rows and people by hand or by file do so one after the other.

    Asked for first inside a write transaction, before any row is locked, and held until it ends. On SQLite every writer
    waits for its turn anyway.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LEDGER])


def _open() -> None:
    act = _opening.get()
    if act is not None:
        act()
