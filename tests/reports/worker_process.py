"""A real worker in a process of its own: ``python worker_process.py GATE QUEUE``.

What it has built it keeps only once it gets the lock on the file GATE, so that a test which holds that lock finds the
worker in the middle of a job for as long as it likes.
"""

from __future__ import annotations

import fcntl
import sys
from pathlib import Path

import django

from config.celery import app

django.setup()

from reports.services import running  # noqa: E402 - the settings come first

_keep = running._keep


def keep_behind_the_gate(made: running.Made) -> str:
    with Path(sys.argv[1]).open("a") as gate:
        fcntl.flock(gate, fcntl.LOCK_EX)
        return _keep(made)


running._keep = keep_behind_the_gate
app.conf.task_default_queue = sys.argv[2]
app.worker_main(
    ["worker", "--pool", "prefork", "--concurrency", "1", "--without-gossip", "--without-mingle", "-lWARNING"]
)
