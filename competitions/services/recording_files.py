"""Recordings on the disk: a folder of its own below the data folder, which nothing serves but the code that asks who.

A file in the making is ``<key>.part``, a whole one ``<key>.film``. What has arrived is what lies on the disk, so a
server that was started anew goes on where the one before ended.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import BinaryIO
from uuid import UUID

from django.conf import settings

KEPT_FREE = 256 * 1024 * 1024
_BLOCK = 1024 * 1024


class OutOfTurn(Exception):  # noqa: N818 - reads as the sentence it stands for
    """The piece does not begin where the last one ended."""


def folder() -> Path:
    found: Path = settings.DATA_DIR / "recordings"
    found.mkdir(mode=0o700, exist_ok=True)
    return found


def film_path(key: UUID) -> Path:
    return folder() / f"{key}.film"


def _part_path(key: UUID) -> Path:
    return folder() / f"{key}.part"


def arrived_bytes(key: UUID) -> int:
    """Return how much of a file lies here."""
    for path in (film_path(key), _part_path(key)):
        if path.exists():
            return path.stat().st_size
    return 0


def append_piece(key: UUID, *, begin: int, piece: bytes) -> int:
    """Add a piece that begins where the last ended, whole or not at all; return how much lies here now.

    A piece that lies here already is not written again: its answer may have been lost on the way. Raises ``OutOfTurn``
    for one that begins elsewhere, ``OSError`` where the disk refuses.
    """
    whole = film_path(key)
    if whole.exists():
        return whole.stat().st_size
    with _alone(key) as stream:
        size = os.fstat(stream.fileno()).st_size
        if begin + len(piece) <= size:
            return size
        if begin != size:
            raise OutOfTurn
        try:
            stream.write(piece)
            stream.flush()
            os.fsync(stream.fileno())
        except OSError:
            os.truncate(stream.fileno(), size)
            raise
        return size + len(piece)


@contextmanager
def _alone(key: UUID) -> Iterator[BinaryIO]:
    """Open the file in the making for one writer at a time, also of several processes."""
    descriptor = os.open(_part_path(key), os.O_CREAT | os.O_RDWR | os.O_APPEND, 0o600)
    with os.fdopen(descriptor, "r+b", buffering=0) as stream:
        fcntl.flock(stream.fileno(), fcntl.LOCK_EX)
        yield stream


def open_part(key: UUID) -> BinaryIO:
    """Open what has arrived for reading: the file in the making, or the whole one that a broken end left behind."""
    whole = film_path(key)
    return (whole if whole.exists() else _part_path(key)).open("rb")


def digest_of(stream: BinaryIO) -> str:
    stream.seek(0)
    found = hashlib.sha256()
    while block := stream.read(_BLOCK):
        found.update(block)
    return found.hexdigest()


def complete(key: UUID) -> None:
    """Make the file in the making the whole one; done twice it changes nothing."""
    part = _part_path(key)
    if part.exists():
        part.replace(film_path(key))


def remove(key: UUID) -> None:
    for path in (film_path(key), _part_path(key)):
        path.unlink(missing_ok=True)


def free_bytes() -> int:
    """Return what may still be taken: the rest of the disk belongs to the database and the documents."""
    return shutil.disk_usage(folder()).free - KEPT_FREE


def files_older_than(age: timedelta, *, now: datetime) -> Iterator[tuple[UUID, Path]]:
    """Yield the files that nobody has written to for so long, with the key that their name holds."""
    for path in sorted(folder().iterdir()):
        if path.suffix not in {".film", ".part"}:
            continue
        try:
            key, written = UUID(path.stem), datetime.fromtimestamp(path.stat().st_mtime, tz=UTC)
        except (ValueError, FileNotFoundError):
            continue
        if written < now - age:
            yield key, path
