"""A real worker in a process of its own: ``python worker_process.py GATE QUEUE``.

A report that it has built it keeps, and standings that it has written it shows, only once it gets the lock on the file
GATE, so that a test which holds that lock finds the worker in the middle of a job for as long as it likes.
"""

from __future__ import annotations

import fcntl
import sys
from pathlib import Path

import django

from config.celery import app


def main(gate: Path, queue_name: str) -> None:
    django.setup()
    from reports.services import running  # noqa: PLC0415 - models can be imported only after the set-up
    from riders.services import rebuilds  # noqa: PLC0415 - as above

    keep = running._keep

    def keep_behind_the_gate(made: running.Made) -> str:
        with gate.open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            return keep(made)

    running._keep = keep_behind_the_gate
    show = rebuilds._show

    def show_behind_the_gate(*given: object, **named: object) -> None:
        with gate.open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            show(*given, **named)

    rebuilds._show = show_behind_the_gate
    app.conf.task_default_queue = queue_name
    options = [
        "--pool",
        "prefork",
        "--concurrency",
        "1",
        "--without-gossip",
        "--without-mingle",
        "--loglevel",
        "WARNING",
    ]
    app.worker_main(["worker", *options])


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
