"""Jobs through a real queue to a real worker in a process of its own, which is killed in the middle."""

from __future__ import annotations

import fcntl
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from celery import Celery
from django.conf import settings
from django.db import connection
from django.utils import timezone

from reports.models import Job
from reports.services import request_report
from riders.models import StandingsRebuild
from riders.services import workqueue as queue
from riders.services.rebuilds import request_rebuild
from tests.builders import make_season, qualifying_scheme
from tests.riders.ledger_rows import post, row

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 60.0

pytestmark = pytest.mark.django_db(transaction=True)


def until(true: Callable[[], bool]) -> None:
    """Wait for another process, which nothing announces; give up after a minute."""
    end, tick = time.monotonic() + PATIENCE, threading.Event()
    while not true():
        assert time.monotonic() < end, "waited in vain for the other process"
        tick.wait(0.02)


def state_is(job: Job, state: str) -> Callable[[], bool]:
    return Job.objects.filter(pk=job.pk, state=state).exists


def database_address() -> str:
    chosen = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{chosen['NAME']}"
    host = str(chosen["HOST"]).replace("/", "%2F")
    return f"postgresql://{chosen['USER']}:{chosen['PASSWORD']}@{host}:{chosen['PORT']}/{chosen['NAME']}"


class Workers:
    """Starts workers on one queue and ends those that are left."""

    def __init__(self, gate: Path, queue_name: str, broker: str) -> None:
        self.gate, self.queue_name, self.broker = gate, queue_name, broker
        self.processes: list[subprocess.Popen[bytes]] = []

    def start(self) -> subprocess.Popen[bytes]:
        environment = os.environ | {
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "MARKBOOK_DATA": str(settings.DATA_DIR),
            "MARKBOOK_DATABASE_URL": database_address(),
            "MARKBOOK_BROKER_URL": self.broker,
            "CELERY_SKIP_CHECKS": "1",
            "PYTHONPATH": str(ROOT),
            "PYTHONWARNINGS": "ignore",
        }
        script = Path(__file__).with_name("worker_process.py")
        process = subprocess.Popen(
            [sys.executable, str(script), str(self.gate), self.queue_name],
            cwd=ROOT,
            env=environment,
            start_new_session=True,
        )
        self.processes.append(process)
        return process

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """Kill the worker and its children as a machine that loses its power would."""
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
        finally:
            process.wait(PATIENCE)

    @contextmanager
    def gate_shut(self) -> Iterator[None]:
        with self.gate.open("a") as gate:
            fcntl.flock(gate, fcntl.LOCK_EX)
            yield


@pytest.fixture(params=["filesystem://", pytest.param("redis://127.0.0.1:6379/13", marks=pytest.mark.redis)])
def workers(request, tmp_path, monkeypatch, files, settings) -> Iterator[Workers]:
    settings.MEDIA_ROOT = settings.DATA_DIR / "files"
    name = f"reports-{uuid.uuid4().hex}"
    if request.param.startswith("redis"):
        with socket.socket() as probe:
            probe.settimeout(1)
            if probe.connect_ex(("127.0.0.1", 6379)):
                pytest.skip("no Redis server answers on 127.0.0.1:6379")
        app = Celery("asking", broker=request.param, set_as_current=False)
    else:
        app = Celery("asking", broker=settings.CELERY_BROKER_URL, set_as_current=False)
        app.conf.update(
            broker_transport=settings.CELERY_BROKER_TRANSPORT,
            broker_transport_options=settings.CELERY_BROKER_TRANSPORT_OPTIONS,
        )
    app.conf.task_default_queue = name
    monkeypatch.setattr(queue, "current_app", app)
    started = Workers(tmp_path / "gate", name, request.param)
    yield started
    for process in started.processes:
        started.kill(process)
    app.close()


def test_a_report_goes_through_the_queue_and_is_made_once(workers, judged_class, office):
    workers.start()
    first = request_report(kind="results", target=judged_class.pk, by=office)
    again = request_report(kind="results", target=judged_class.pk, by=office)
    assert first.pk == again.pk
    until(state_is(first, Job.State.DONE))
    first.refresh_from_db()
    assert first.attempts == 1
    assert (settings.MEDIA_ROOT / first.file).read_bytes().startswith(b"%PDF-")


def test_a_worker_killed_in_the_middle_leaves_a_job_that_the_next_one_finishes_once(workers, judged_class, office):
    with workers.gate_shut():
        victim = workers.start()
        job = request_report(kind="results", target=judged_class.pk, by=office)
        until(Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, progress=90).exists)
        workers.kill(victim)
    job.refresh_from_db()
    assert (job.state, job.file) == (Job.State.RUNNING, "")
    # The clock goes on: nobody has heard of that worker for a while.
    Job.objects.filter(pk=job.pk).update(heartbeat_at=timezone.now() - timedelta(minutes=1))
    workers.start()
    until(state_is(job, Job.State.DONE))
    job.refresh_from_db()
    assert job.attempts == 2
    assert (settings.MEDIA_ROOT / job.file).read_bytes().startswith(b"%PDF-")


def test_asked_for_while_the_broker_is_down_it_is_made_when_a_worker_starts(workers, judged_class, office, monkeypatch):
    def refuse(*_arguments, **_options):
        raise ConnectionRefusedError("no broker")

    with monkeypatch.context() as broken:
        broken.setattr(queue.current_app, "send_task", refuse)
        job = request_report(kind="results", target=judged_class.pk, by=office)
    job.refresh_from_db()
    assert (job.state, job.heartbeat_at) == (Job.State.QUEUED, None)
    workers.start()
    until(state_is(job, Job.State.DONE))


def test_standings_survive_a_worker_killed_in_the_middle_and_the_next_one_completes_them(workers):
    season = make_season(scheme=qualifying_scheme(require=[]))
    post(*[row(n, key=f"s{n}", percentage=f"6{n}") for n in range(1, 5)])
    season.rows.update(value="99.875")
    with workers.gate_shut():
        victim = workers.start()
        rebuild = request_rebuild(season, by=None)
        until(StandingsRebuild.objects.filter(pk=rebuild.pk, state=Job.State.RUNNING, progress=95).exists)
        assert request_rebuild(season, by=None) == rebuild
        assert {value for (value,) in season.rows.values_list("value")} == {"99.875"}
        workers.kill(victim)
    assert {value for (value,) in season.rows.values_list("value")} == {"99.875"}
    post(row(1, key="late", percentage="80"))
    # The clock goes on: nobody has heard of that worker for a while.
    StandingsRebuild.objects.filter(pk=rebuild.pk).update(heartbeat_at=timezone.now() - timedelta(minutes=1))
    workers.start()
    until(StandingsRebuild.objects.filter(pk=rebuild.pk, state=Job.State.DONE).exists)
    rebuild.refresh_from_db()
    assert rebuild.attempts == 2
    assert list(season.rows.values_list("unit", "value"))[:2] == [("R1/H1", "70.500"), ("R4/H4", "64.000")]
    until(lambda: season.tables.count() == 1)
