from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from reports.models import Job
from reports.services import request_report, run_job, sweep_jobs
from reports.tasks import job_run_task, jobs_sweep_task, sweep_at_start
from riders.services import workqueue as queue
from riders.services.workqueue import MOST_ATTEMPTS, NEVER_TAKEN_TOO_LONG, QUEUED_TOO_LONG, SILENT_TOO_LONG

pytestmark = pytest.mark.django_db

MOMENT = timedelta(seconds=1)


@pytest.fixture
def job(judged_class, office, sent) -> Job:
    return request_report(kind="results", target=judged_class.pk, by=office)


def set_row(**fields) -> None:
    Job.objects.update(**fields)


def test_a_job_that_no_broker_took_is_put_back_after_a_short_while(job, sent):
    set_row(requested_at=timezone.now() + MOMENT - NEVER_TAKEN_TOO_LONG / 2)
    assert sweep_jobs().put_back == 0
    set_row(requested_at=timezone.now() - NEVER_TAKEN_TOO_LONG - MOMENT)
    assert sweep_jobs().put_back == 1
    assert sent == [str(job.pk)]
    assert sweep_jobs().put_back == 0


def test_a_job_that_the_broker_lost_is_put_back_after_a_while(job, sent):
    set_row(heartbeat_at=timezone.now(), requested_at=timezone.now() - timedelta(days=1))
    assert sweep_jobs().put_back == 0
    set_row(heartbeat_at=timezone.now() - QUEUED_TOO_LONG - MOMENT)
    assert sweep_jobs().put_back == 1
    assert sent == [str(job.pk)]


def test_a_job_of_a_dead_worker_is_put_back_and_then_made(job, sent):
    set_row(state=Job.State.RUNNING, attempts=1, heartbeat_at=timezone.now() - SILENT_TOO_LONG - MOMENT)
    assert sweep_jobs().put_back == 1
    assert sent == [str(job.pk)]
    done = run_job(job.pk)
    assert (done.state, done.attempts) == (Job.State.DONE, 2)


def test_a_job_that_gives_signs_of_life_is_left_alone(job, sent):
    set_row(state=Job.State.RUNNING, attempts=1, heartbeat_at=timezone.now())
    assert sweep_jobs().put_back == 0
    assert Job.objects.get().state == Job.State.RUNNING


def test_after_three_dead_workers_it_is_given_up_in_a_sentence(job, sent):
    set_row(state=Job.State.RUNNING, attempts=MOST_ATTEMPTS, heartbeat_at=timezone.now() - SILENT_TOO_LONG - MOMENT)
    swept = sweep_jobs()
    assert (swept.put_back, swept.given_up) == (0, 1)
    job.refresh_from_db()
    assert job.state == Job.State.FAILED
    assert job.message.startswith("The worker stopped 3 times while it made this report. Try again")
    assert sent == []


@pytest.mark.parametrize("state", [Job.State.DONE, Job.State.FAILED])
def test_what_has_ended_is_never_put_back(job, sent, state):
    long_ago = timezone.now() - timedelta(days=3)
    set_row(state=state, heartbeat_at=long_ago, requested_at=long_ago)
    assert sweep_jobs().put_back == 0
    assert sent == []


def test_a_broker_that_is_still_down_leaves_the_job_for_the_next_sweep(job, monkeypatch):
    def refuse(*_arguments, **_options):
        raise ConnectionRefusedError

    monkeypatch.setattr(queue.current_app, "send_task", refuse)
    set_row(requested_at=timezone.now() - QUEUED_TOO_LONG - MOMENT)
    assert sweep_jobs().put_back == 0
    assert Job.objects.get().state == Job.State.QUEUED
    taken: list[str] = []
    monkeypatch.setattr(queue.current_app, "send_task", lambda name, args, retry: taken.append(args[0]))
    queue.wake()
    assert sweep_jobs().put_back == 1
    assert taken == [str(job.pk)]


@pytest.mark.django_db(transaction=True)
def test_a_worker_that_starts_catches_up_at_once(job, sent):
    sent.clear()
    sweep_at_start()
    assert sent == [str(job.pk)]


def test_the_tasks_keep_their_names_and_may_run_in_vain(job):
    assert job_run_task.name == "reports.job_run"
    assert jobs_sweep_task.name == "reports.jobs_sweep"
    assert job_run_task(str(job.pk)) == "done"
    assert job_run_task(str(job.pk)) == "nothing to do"
    Job.objects.all().delete()
    assert job_run_task(str(job.pk)) == "nothing to do"
    assert jobs_sweep_task() == "0 put back, 0 given up"
