from __future__ import annotations

import socket
from itertools import count

import pytest
from celery import Celery
from django.conf import settings as django_settings
from django.contrib.auth.models import AnonymousUser

from reports.models import Job
from reports.services import request_report, retry_job, run_job
from riders.errors import InvalidInput, NotAllowed
from riders.services import workqueue as queue
from tests import builders

pytestmark = pytest.mark.django_db


def ask(judged_class, by, **changes):
    return request_report(**({"kind": "results", "target": judged_class.pk, "by": by} | changes))


def test_the_row_is_there_first_and_its_id_is_queued_on_commit(
    judged_class, office, sent, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks() as callbacks:
        job = ask(judged_class, office)
        assert sent == []
    assert Job.objects.get().state == Job.State.QUEUED
    assert job.requested_by == office
    for callback in callbacks:
        callback()
    assert sent == [str(job.pk)]
    job.refresh_from_db()
    assert job.heartbeat_at is not None


def test_asked_twice_is_the_same_job_queued_once(judged_class, office, sent, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        first = ask(judged_class, office)
        second = ask(judged_class, AnonymousUser())
    assert first.pk == second.pk
    assert sent == [str(first.pk)]


def test_a_newer_version_of_the_class_is_another_job(judged_class, office, sent):
    first = ask(judged_class, office)
    builders.mark_sheet(judged_class.entries.first(), "C", mark=90)
    second = ask(judged_class, office)
    assert first.pk != second.pk
    assert first.target_version != second.target_version


def test_another_layout_is_another_job(judged_class, office, sent, monkeypatch):
    first = ask(judged_class, office)
    monkeypatch.setattr("reports.services.requests.LAYOUT_VERSION", 999)
    assert ask(judged_class, office).pk != first.pk


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"kind": "poster"}, "unknown-kind"),
        ({"target": 999_999}, "unknown-target"),
        ({"options": {"size": "A3"}}, "unknown-option"),
        ({"kind": "season-statement"}, "season-missing"),
        ({"kind": "season-statement", "options": {"season": True}}, "season-missing"),
    ],
)
def test_what_cannot_be_made_is_refused_in_a_sentence(judged_class, office, sent, changes, code):
    with pytest.raises(InvalidInput) as refusal:
        ask(judged_class, office, **changes)
    assert refusal.value.code == code
    assert refusal.value.message.endswith(".")
    assert not Job.objects.exists()


def test_who_may_not_have_it_gets_no_job(judged_class, sent):
    entry = judged_class.entries.first()
    for visitor in (AnonymousUser(), builders.make_user("stranger")):
        with pytest.raises(NotAllowed):
            request_report(kind="sheets", target=entry.pk, by=visitor)
    assert not Job.objects.exists()


def test_a_failed_job_asked_again_is_queued_again(judged_class, office, sent, django_capture_on_commit_callbacks):
    job = ask(judged_class, office)
    Job.objects.update(state=Job.State.FAILED, message="It failed.", attempts=3)
    with django_capture_on_commit_callbacks(execute=True):
        again = ask(judged_class, office)
    again.refresh_from_db()
    assert (again.pk, again.state, again.attempts, again.message) == (job.pk, Job.State.QUEUED, 0, "")
    assert sent == [str(job.pk)]


def test_retry_puts_a_failed_job_back_and_leaves_a_good_one_alone(
    judged_class, office, sent, django_capture_on_commit_callbacks
):
    job = run_job(ask(judged_class, office).pk)
    with django_capture_on_commit_callbacks(execute=True):
        assert retry_job(job, by=office).state == Job.State.DONE
    assert sent == []
    Job.objects.update(state=Job.State.FAILED)
    job.refresh_from_db()
    with django_capture_on_commit_callbacks(execute=True):
        assert retry_job(job, by=office).state == Job.State.QUEUED
    assert sent == [str(job.pk)]


def test_a_job_whose_file_is_gone_is_made_again(judged_class, office, sent, files):
    job = run_job(ask(judged_class, office).pk)
    (files / job.file).unlink()
    assert ask(judged_class, office).state == Job.State.QUEUED
    assert run_job(job.pk).state == Job.State.DONE
    assert (files / job.file).exists()


def a_closed_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def redis_at(monkeypatch):
    """Let the queue speak to a Redis at a port, with the service's own settings for it."""

    def use(port: int) -> None:
        app = Celery("elsewhere", broker=f"redis://127.0.0.1:{port}/0", set_as_current=False)
        app.conf.broker_transport_options = {
            key: django_settings.CELERY_BROKER_TRANSPORT_OPTIONS[key]
            for key in ("max_retries", "interval_start", "interval_step", "interval_max")
        } | {"socket_timeout": 2, "socket_connect_timeout": 1}
        monkeypatch.setattr(queue, "current_app", app)

    return use


def test_a_broker_that_is_down_fails_no_request(judged_class, office, redis_at, django_capture_on_commit_callbacks):
    redis_at(a_closed_port())
    with django_capture_on_commit_callbacks(execute=True):
        job = ask(judged_class, office)
    job.refresh_from_db()
    assert (job.state, job.heartbeat_at) == (Job.State.QUEUED, None)


def calls_on(server: socket.socket) -> int:
    """Take the calls that wait at a server, and count them."""
    server.setblocking(False)
    for calls in count():
        try:
            server.accept()[0].close()
        except BlockingIOError:
            return calls
    raise AssertionError


def test_a_broker_that_does_not_answer_costs_one_request_its_time_out_and_not_the_next(
    judged_class, office, redis_at, django_capture_on_commit_callbacks
):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        redis_at(silent.getsockname()[1])
        with django_capture_on_commit_callbacks(execute=True):
            ask(judged_class, office)
        assert calls_on(silent) > 0
        with django_capture_on_commit_callbacks(execute=True):
            ask(judged_class, office, kind="running-order")
        assert calls_on(silent) == 0
    assert set(Job.objects.values_list("state", flat=True)) == {Job.State.QUEUED}
