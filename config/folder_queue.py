"""A message queue in a folder, so that the embedded default needs no broker.

Kombu's own keeps one file a message too, but writes it in place: a reader that polls often takes it half written, and
the worker dies of it. Here a message gets its name when it is whole, and is taken by renaming it within the folder.
"""

from __future__ import annotations

import logging
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import filesystem
from kombu.utils.json import dumps, loads

log = logging.getLogger("markbook.queue")


class Channel(filesystem.Channel):
    """The files of a queue, oldest first."""

    def _put(self, queue: str, payload: dict[str, Any], **_: Any) -> None:  # type: ignore[override]
        folder = Path(self.data_folder_out)
        written = folder / f"{uuid.uuid4().hex}.writing"
        written.write_text(dumps(payload), encoding="utf-8")
        written.rename(folder / f"{time.time_ns():020d}-{uuid.uuid4().hex}.{queue}.msg")

    def _get(self, queue: str, timeout: float | None = None) -> Any:  # noqa: ARG002 - kombu's own signature
        for message in _messages(Path(self.data_folder_in), queue):
            taken = message.with_suffix(".taken")
            try:
                message.rename(taken)
            except FileNotFoundError:
                continue  # another worker was quicker
            content = taken.read_text(encoding="utf-8")
            taken.unlink()
            try:
                return loads(content)
            except ValueError:
                log.warning("The message %s in the queue cannot be read and is dropped.", message.name)
        raise Empty

    def _size(self, queue: str) -> int:
        return len(_messages(Path(self.data_folder_in), queue))

    def _purge(self, queue: str) -> int:
        messages = _messages(Path(self.data_folder_in), queue)
        for message in messages:
            message.unlink(missing_ok=True)
        return len(messages)


class Transport(filesystem.Transport):
    Channel = Channel


def _messages(folder: Path, queue: str) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.name.endswith(f".{queue}.msg"))
