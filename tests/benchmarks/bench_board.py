"""How many unchanged polls of a board a second the server answers, beside a bare Django view on the same server.

Both run under granian with one worker and the same number of threads, in turn; the requests come from ``wrk`` over
loopback. The bare view has no middleware and no database and answers with twenty kilobytes, like a prerendered page.
"""

from __future__ import annotations

import re
import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def run(*, rounds: int = 5, seconds: int = 2) -> dict[str, float | str]:
    from tests.benchmarks.bench_sheet_saved import fill
    from tests.builders import make_class, make_competition

    if shutil.which("wrk") is None:
        return {"not run": "wrk is not installed"}
    competition_class = make_class(make_competition("bench-board"), seats="EHCMB", entries=60)
    fill(competition_class)
    polls, bare = [], []
    path = "/competitions/bench-board/1/rows/"
    with serving("config.wsgi:application") as board, serving("tests.benchmarks.bare:application") as plain:
        with urllib.request.urlopen(board + path) as response:
            etag = response.headers["ETag"]
        for _ in range(rounds):
            bare.append(requests_a_second(plain + "/", seconds=seconds))
            polls.append(requests_a_second(board + path, seconds=seconds, etag=etag))
    ratios = [poll / other for poll, other in zip(polls, bare, strict=True)]
    return {
        "polls answered 304, a second": statistics.median(polls),
        "alternative: bare view, a second": statistics.median(bare),
        "ratio to the alternative": statistics.median(ratios),
    }


@contextmanager
def serving(application: str) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(port)]
    command += ["--workers", "1", "--blocking-threads", "1", "--log-level", "error", application]
    server = subprocess.Popen(command, cwd=ROOT)
    try:
        deadline = time.monotonic() + 20
        while True:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            if time.monotonic() > deadline:
                raise RuntimeError(f"{application} did not start")
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait()


def requests_a_second(address: str, *, seconds: int, etag: str = "") -> float:
    command = ["wrk", "-c", "64", "-t", "1", "-d", f"{seconds}s"]
    if etag:
        command += ["-H", f"If-None-Match: {etag}"]
    output = subprocess.run([*command, address], check=True, capture_output=True, text=True).stdout
    found = re.search(r"Requests/sec:\s+([\d.]+)", output)
    if found is None:
        raise RuntimeError(output)
    return float(found.group(1))
