"""The supervisor with real processes: small scripts that write down what happens to them."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from config.supervisor import Service, Supervisor

PATIENCE = 30.0
LIVES = """
import os, signal, sys, pathlib
notes = pathlib.Path(sys.argv[1])
def end(*_):
    notes.write_text(notes.read_text() + "ended ")
    sys.exit(0)
signal.signal(signal.SIGTERM, end)
before = notes.read_text() if notes.exists() else ""
notes.write_text(before + f"{os.getpid()} ")
while True:
    signal.pause()
"""
PARENT = """
import pathlib, subprocess, sys, signal
child = subprocess.Popen([sys.executable, "-c", "import signal; signal.pause()"])
pathlib.Path(sys.argv[1]).write_text(f"{child.pid}")
signal.pause()
"""


def until(true: Callable[[], object]) -> None:
    end, tick = time.monotonic() + PATIENCE, threading.Event()
    while not true():
        assert time.monotonic() < end, "waited in vain"
        tick.wait(0.02)


def service(name: str, script: str, notes: Path, **options) -> Service:
    return Service(name, [sys.executable, "-c", script, str(notes)], {"MARKED": "yes"}, **options)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"


class Running:
    """A supervisor that runs while the test looks; signals reach it as they would reach the command."""

    def __init__(self, *services: Service) -> None:
        self.said: list[str] = []
        self.supervisor = Supervisor(services, say=self.said.append)
        self.code: int | None = None

    def watch(self, then: Callable[[], None]) -> None:
        problems: list[BaseException] = []

        def look() -> None:
            try:
                then()
            except BaseException as problem:  # noqa: BLE001 - it is raised again in the test
                problems.append(problem)
            finally:
                os.kill(os.getpid(), signal.SIGTERM)

        looking = threading.Thread(target=look)
        looking.start()
        self.code = self.supervisor.run()
        looking.join()
        if problems:
            raise problems[0]


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    before = signal.getsignal(signal.SIGTERM)
    yield
    assert signal.getsignal(signal.SIGTERM) == before


def pids(notes: Path) -> list[int]:
    return [int(word) for word in notes.read_text(encoding="ascii").split() if word.isdigit()] if notes.exists() else []


def test_a_signal_ends_every_service_in_order(tmp_path: Path):
    notes = [tmp_path / "web", tmp_path / "worker"]
    running = Running(*(service(path.name, LIVES, path) for path in notes))
    running.watch(lambda: until(lambda: all(pids(path) for path in notes)))
    assert running.code == 0
    for path in notes:
        assert path.read_text(encoding="ascii").endswith("ended ")
        assert not any(alive(pid) for pid in pids(path))


def test_a_service_that_is_killed_is_started_again(tmp_path: Path):
    notes = tmp_path / "worker"
    running = Running(service("worker", LIVES, notes))

    def kill_it() -> None:
        until(lambda: pids(notes))
        os.kill(pids(notes)[0], signal.SIGKILL)
        until(lambda: len(pids(notes)) == 2)

    running.watch(kill_it)
    assert running.said == ["The worker ended (exit -9); it is started again in 2 s."]
    assert not any(alive(pid) for pid in pids(notes))


def test_children_of_a_killed_service_do_not_outlive_it(tmp_path: Path):
    notes = tmp_path / "child"
    parent = service("worker", PARENT, notes)
    running = Running(parent)

    def kill_it() -> None:
        until(lambda: pids(notes))
        child = pids(notes)[0]
        assert alive(child)
        assert parent.process is not None
        os.kill(parent.process.pid, signal.SIGKILL)
        until(lambda: not alive(child))

    running.watch(kill_it)
    assert running.code == 0


def test_a_web_server_that_does_not_come_up_ends_the_service_with_a_sentence(tmp_path: Path):
    notes = tmp_path / "worker"
    running = Running(
        service("worker", LIVES, notes), service("web server", "raise SystemExit(3)", tmp_path / "x", vital=True)
    )
    assert running.supervisor.run() == 1
    assert running.said == ["The web server did not come up (exit 3). See the lines above for the reason."]
    assert not any(alive(pid) for pid in pids(notes))


def test_the_pause_before_a_start_doubles_and_is_forgotten_after_a_long_life():
    dying = Service("worker", [], {})
    dying.started = time.monotonic()
    assert [dying.next_pause() for _ in range(7)] == [2, 4, 8, 16, 30, 30, 30]
    dying.started = time.monotonic() - 60
    assert dying.next_pause() == 1
