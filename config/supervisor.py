"""Keeping the processes of a service alive together: started, restarted when they die, ended in order."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from types import FrameType

_SHORT_LIFE = 30.0
_LONGEST_PAUSE = 30.0
_PATIENCE = 25.0
_TETHERED = Path(__file__).with_name("tethered.py")


@dataclass(eq=False)
class Service:
    """One process of the service; ``vital`` means that the whole service ends when it does not come up at first."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str]
    vital: bool = False
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    pause: float = field(default=1.0)

    def start(self, ended: Callable[[Service], None]) -> None:
        """Start the process in a group of its own and have ``ended`` called, on a thread, when it dies."""
        self.started = time.monotonic()
        self.process = process = subprocess.Popen(  # noqa: S603 - the command is ours
            [sys.executable, str(_TETHERED), *self.command],
            env={**os.environ, **self.environment},
            start_new_session=True,
        )

        def wait() -> None:
            process.wait()
            ended(self)

        threading.Thread(target=wait, name=f"{self.name} watch", daemon=True).start()

    @property
    def age(self) -> float:
        return time.monotonic() - self.started

    def next_pause(self) -> float:
        """Return how long to wait before the next start: twice as long after every short life."""
        self.pause = 1.0 if self.age > _SHORT_LIFE else min(self.pause * 2, _LONGEST_PAUSE)
        return self.pause

    def ask_to_end(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()

    def end_group(self) -> None:
        """End what is left of the group: children of a process that was killed outlive it."""
        if self.process is not None:
            try:
                os.killpg(self.process.pid, signal.SIGKILL)
            except ProcessLookupError:
                return


class Supervisor:
    """Runs services until it is told to stop, by SIGTERM, SIGINT or ``stop``."""

    def __init__(self, services: Sequence[Service], *, say: Callable[[str], None]) -> None:
        self._services = services
        self._say = say
        self._events: SimpleQueue[tuple[str, Service | None]] = SimpleQueue()

    def run(self) -> int:
        """Return 0 after an orderly end, 1 when a vital service did not come up."""
        before = {number: signal.signal(number, self._on_signal) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            for service in self._services:
                self._start(service)
            return self._watch()
        finally:
            self._end_all()
            for number, handler in before.items():
                signal.signal(number, handler)

    def stop(self) -> None:
        self._events.put(("stop", None))

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        self.stop()

    def _start(self, service: Service) -> None:
        service.start(lambda ended: self._events.put(("ended", ended)))

    def _watch(self) -> int:
        while True:
            what, service = self._events.get()
            if service is None:
                return 0
            if what == "start":
                self._start(service)
                continue
            code = service.process.returncode if service.process else None
            service.end_group()
            if service.vital and service.age < _SHORT_LIFE and service.pause == 1.0:
                self._say(f"The {service.name} did not come up (exit {code}). See the lines above for the reason.")
                return 1
            pause = service.next_pause()
            self._say(f"The {service.name} ended (exit {code}); it is started again in {pause:g} s.")
            timer = threading.Timer(pause, self._events.put, args=(("start", service),))
            timer.daemon = True
            timer.start()

    def _end_all(self) -> None:
        for service in self._services:
            service.ask_to_end()
        patience = time.monotonic() + _PATIENCE
        for service in self._services:
            if service.process is None:
                continue
            try:
                service.process.wait(max(0.1, patience - time.monotonic()))
            except subprocess.TimeoutExpired:
                self._say(f"The {service.name} did not end in {_PATIENCE:g} s and is stopped.")
            service.end_group()
