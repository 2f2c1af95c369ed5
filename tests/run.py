"""Run every test that this machine can run, in the ways that matter, and say plainly what could not be run.

1. unit and service tests on SQLite, in parallel and in random order;
2. the same tests on PostgreSQL, where a server answers (MARKBOOK_TEST_POSTGRES, or one on the local socket or port);
3. the browser tests, where a Chromium is installed;
4. lint, layers, types.

Tests marked ``redis`` run in 1 and 2 where a Redis server answers. ``--fast`` runs only the first.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def main() -> int:
    redis = _answers("127.0.0.1", 6379)
    postgres = os.environ.get("MARKBOOK_TEST_POSTGRES") or _local_postgres()
    marks = "not e2e" if redis else "not e2e and not redis"
    runs: list[tuple[str, list[str], dict[str, str]]] = []
    skipped: list[str] = []
    pytest = [str(BIN / "pytest"), "-q", "-n", "auto"]
    runs.append(("tests on SQLite", [*pytest, "-m", marks], {}))
    if "--fast" not in sys.argv:
        if postgres:
            environment = {"MARKBOOK_DATABASE_URL": postgres}
            folders = ["tests/riders", "tests/competitions", "tests/reports", "tests/api", "tests/config"]
            runs.append(
                (
                    "database tests on PostgreSQL",
                    [*pytest, "-m", marks, *(f for f in folders if (ROOT / f).exists())],
                    environment,
                )
            )
        else:
            skipped.append("tests on PostgreSQL: no server answers (set MARKBOOK_TEST_POSTGRES to a database address)")
        if CHROMIUM:
            environment = {"DJANGO_ALLOW_ASYNC_UNSAFE": "1", "MARKBOOK_TEST_CHROMIUM": CHROMIUM}
            runs.append(("tests in a browser", [str(BIN / "pytest"), "-q", "-m", "e2e", "tests/e2e"], environment))
        else:
            skipped.append("tests in a browser: no Chromium is installed")
        runs += [(target, ["make", "--no-print-directory", target], {}) for target in ("lint", "types")]
    if not redis:
        skipped.append("tests marked redis: no server answers on 127.0.0.1:6379")
    failed = [name for name, command, environment in runs if not _run(name, command, environment)]
    for line in skipped:
        print(f"not run: {line}")
    if skipped and os.environ.get("CI"):
        print("Nothing may be left out in CI.")
        return 1
    print(f"failed: {', '.join(failed)}" if failed else "all that was run has passed")
    return 1 if failed else 0


def _run(name: str, command: list[str], environment: dict[str, str]) -> bool:
    print(f"== {name}", flush=True)
    start = time.monotonic()
    code = subprocess.run(command, cwd=ROOT, env=os.environ | environment, check=False).returncode
    print(f"== {name}: {'passed' if code == 0 else f'FAILED ({code})'} in {time.monotonic() - start:.0f} s", flush=True)
    return code == 0


def _answers(host: str, port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex((host, port)) == 0


def _local_postgres() -> str | None:
    """Return the address of a local server that lets this user make databases, if there is one."""
    import psycopg

    for address in ("postgresql:///postgres", "postgresql://postgres@127.0.0.1:5432/postgres"):
        try:
            with psycopg.connect(address, connect_timeout=2) as connection:
                row = connection.execute(
                    "select rolcreatedb or rolsuper from pg_roles where rolname = current_user"
                ).fetchone()
        except psycopg.OperationalError:
            continue
        if row and row[0]:
            return address
    return None


if __name__ == "__main__":
    sys.exit(main())
