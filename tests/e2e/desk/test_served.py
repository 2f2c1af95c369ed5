"""The service as it is served: every page's scripts load, each under the name of its content."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import expect

ROOT = Path(__file__).resolve().parents[3]
PATIENCE = 120.0
DESK = "/desk/mirefell-2026-11/"
PAGES = [
    "/competitions/mirefell-2026-11/6/",
    "/associations/valdemoor/2027/",
    "/api/v1/docs/",
    DESK,
    f"{DESK}6/",
    f"{DESK}6/office/order/",
    f"{DESK}6/office/differences/",
    f"{DESK}office/championship/",
    f"{DESK}6/42/C/",
]
HASHED = re.compile(r"/static/[\w./-]+\.[0-9a-f]{12}\.m?js\Z")

pytestmark = pytest.mark.e2e


@pytest.fixture
def served(tmp_path):
    """The demonstration, served by the real command; its address and the password of staff."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "MARKBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "MARKBOOK_DATABASE_URL": f"sqlite:///{tmp_path}/markbook.sqlite3",
        "MARKBOOK_BROKER_URL": "filesystem://",
        "PYTHONWARNINGS": "ignore",
        "PYTHONUNBUFFERED": "1",
    }
    manage = [sys.executable, str(ROOT / "manage.py")]
    subprocess.run([*manage, "migrate", "--verbosity", "0"], env=environment, cwd=ROOT, check=True)
    said = tmp_path / "said.txt"
    with said.open("w") as out:
        command = subprocess.Popen(  # its group is ended below
            [*manage, "demo", "--port", str(port)],
            env=environment,
            cwd=ROOT,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        wait_for_answer(f"http://127.0.0.1:{port}/", command)
        yield f"http://127.0.0.1:{port}", re.search(r"^staff\s+(\S+)", said.read_text(), re.MULTILINE)[1]
    finally:
        command.send_signal(signal.SIGINT)
        try:
            command.wait(PATIENCE)
        finally:
            if command.poll() is None:
                os.killpg(command.pid, signal.SIGKILL)


def wait_for_answer(address: str, command: subprocess.Popen[bytes]) -> None:
    end, tick = time.monotonic() + PATIENCE, threading.Event()
    while True:
        try:
            with urllib.request.urlopen(address, timeout=10):
                return
        except OSError:
            assert command.poll() is None, "the service has ended"
            assert time.monotonic() < end, "no answer"
            tick.wait(0.1)


def test_every_script_loads_under_the_name_of_its_content(browser, served):
    address, password = served
    context = browser.new_context(base_url=address)
    page = context.new_page()
    page.set_default_timeout(30000)
    page.goto("/login/?next=/me/")
    page.locator("input[name=username]").fill("staff")
    page.locator("input[name=password]").fill(password)
    page.locator("input[name=password]").press("Enter")
    expect(page).to_have_url(f"{address}/me/")
    faults: list[str] = []
    scripts: set[str] = set()
    page.on("response", lambda answer: faults.append(f"{answer.status} {answer.url}") if answer.status >= 400 else None)
    page.on("requestfinished", lambda sent: scripts.add(sent.url) if sent.resource_type == "script" else None)
    page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    for path in PAGES:
        page.goto(path, wait_until="networkidle")
    assert faults == []
    assert [url for url in scripts if not HASHED.search(url)] == []
    assert {"keying", "typed_mark", "tally", "saving", "order", "live"} <= {
        url.rpartition("/")[2].partition(".")[0] for url in scripts
    }
    context.close()
