"""The one command: what it starts, what it refuses, and that it all runs and ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from config import staticfolder
from config.management.commands import serve
from config.supervisor import Supervisor

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 60.0


@pytest.fixture
def started(monkeypatch) -> list[list[str]]:
    """Names of the services that would be started; nothing is."""
    runs: list[list[str]] = []

    def run(self: Supervisor) -> int:
        runs.append([service.name for service in self._services])
        return 0

    monkeypatch.setattr(Supervisor, "run", run)
    monkeypatch.setattr(serve, "gather_static_files", lambda: False)
    monkeypatch.setattr(serve.connections, "close_all", lambda: None)
    return runs


def a_free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.mark.django_db
@pytest.mark.parametrize(("arguments", "services"), [([], ["web server", "worker"]), (["--no-worker"], ["web server"])])
def test_it_starts_the_web_server_and_the_worker_and_says_where(started, capsys, arguments, services):
    port = a_free_port()
    call_command("serve", "--port", str(port), *arguments)
    assert started == [services]
    assert f"http://127.0.0.1:{port}/" in capsys.readouterr().out


@pytest.mark.django_db
def test_a_port_in_use_is_refused_with_another_to_try(started):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(CommandError) as refusal:
            call_command("serve", "--port", str(port))
    assert f"Port {port} on 127.0.0.1 cannot be used" in str(refusal.value)
    assert str(refusal.value).endswith(f"for example --port {port + 1}.")
    assert started == []


@pytest.mark.django_db
def test_an_old_database_is_refused_with_what_to_do(started, monkeypatch):
    monkeypatch.setattr(serve.MigrationExecutor, "migration_plan", lambda *_: ["one to go"])
    with pytest.raises(CommandError, match=r"Run: python manage\.py migrate"):
        call_command("serve")
    assert started == []


def test_static_files_are_gathered_only_when_they_have_changed(settings, tmp_path, monkeypatch):
    sources = tmp_path / "sources"
    sources.mkdir()
    (sources / "one.css").write_text("a {}", encoding="ascii")
    settings.DATA_DIR = tmp_path
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATICFILES_DIRS = [sources]
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    assert staticfolder.gather_static_files()
    assert (settings.STATIC_ROOT / "one.css").exists()
    assert not staticfolder.gather_static_files()
    (sources / "two.css").write_text("b {}", encoding="ascii")
    assert staticfolder.gather_static_files()
    assert (settings.STATIC_ROOT / "two.css").exists()


def test_the_real_command_answers_with_static_files_and_ends_cleanly(tmp_path: Path):
    port = a_free_port()
    environment = os.environ | {
        "MARKBOOK_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "MARKBOOK_DATABASE_URL": f"sqlite:///{tmp_path}/markbook.sqlite3",
        "MARKBOOK_BROKER_URL": "filesystem://",
        "PYTHONWARNINGS": "ignore",
    }
    manage = [sys.executable, str(ROOT / "manage.py")]
    subprocess.run([*manage, "migrate", "--verbosity", "0"], env=environment, cwd=ROOT, check=True)
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    serve_command = [*manage, "serve", "--port", str(port)]
    with subprocess.Popen(serve_command, env=environment, cwd=ROOT, start_new_session=True, **pipes) as command:
        try:
            assert "Competitions" in fetch(f"http://127.0.0.1:{port}/")
            home = fetch(f"http://127.0.0.1:{port}/")
            style = home.partition('rel="stylesheet" href="')[2].partition('"')[0]
            assert "{" in fetch(f"http://127.0.0.1:{port}{style}")
            command.send_signal(signal.SIGINT)
            said, _ = command.communicate(timeout=PATIENCE)
        finally:
            end_group(command.pid)
    assert command.returncode == 0, said
    assert said.rstrip().endswith("Ended.")
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0


def fetch(address: str) -> str:
    """Read a page as soon as the server answers."""
    end, tick = time.monotonic() + PATIENCE, threading.Event()
    while True:
        try:
            with urllib.request.urlopen(address, timeout=10) as answer:
                return answer.read().decode()
        except OSError:
            assert time.monotonic() < end, "no answer"
            tick.wait(0.1)


def end_group(leader: int) -> None:
    try:
        os.killpg(leader, signal.SIGKILL)
    except ProcessLookupError:
        return
