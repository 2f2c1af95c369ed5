from __future__ import annotations

import hashlib
import io
import threading
import uuid
from dataclasses import replace

import pytest
from billiard.exceptions import SoftTimeLimitExceeded
from django.utils import timezone
from pypdf import PdfReader

from reports.kinds import KINDS
from reports.models import Job
from reports.services import request_report, run_job, running
from reports.services.printing import PRINTS, Print
from riders.services import workqueue
from riders.services.workqueue import Heartbeat
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(judged_class, office, sent) -> Job:
    return request_report(kind="results", target=judged_class.pk, by=office)


@pytest.fixture
def builds(monkeypatch) -> list[object]:
    """What was built, in order; the building itself is the real one."""
    built: list[object] = []

    def noting(of: Print) -> Print:
        def build(data):
            built.append(data)
            return of.build(data)

        return replace(of, build=build)

    monkeypatch.setattr(running, "PRINTS", {name: noting(of) for name, of in PRINTS.items()})
    return built


def break_the_build(monkeypatch, problem: BaseException) -> None:
    def fail(_data):
        raise problem

    monkeypatch.setattr(running, "PRINTS", {name: replace(of, build=fail) for name, of in PRINTS.items()})


def test_a_job_is_made_kept_and_signed_with_its_digest(job, files):
    done = run_job(job.pk)
    assert (done.state, done.progress, done.attempts, done.message) == (Job.State.DONE, 100, 1, "")
    pages = (files / done.file).read_bytes()
    assert hashlib.sha256(pages).hexdigest() == done.digest
    assert done.file_name == "Linden Autumn Days, class 1, results, provisional.pdf"
    assert "Rider 3" in PdfReader(io.BytesIO(pages)).pages[0].extract_text()
    assert done.started_at <= done.finished_at


def test_run_twice_it_is_built_once(job, builds, files):
    first = run_job(job.pk)
    assert run_job(job.pk) is None
    assert len(builds) == 1
    assert len(list(files.rglob("*.pdf"))) == 1
    assert first.attempts == 1


def test_the_same_version_made_again_has_the_same_bytes_and_the_same_file(job, builds, files):
    first = run_job(job.pk)
    Job.objects.update(state=Job.State.QUEUED)
    second = run_job(job.pk)
    assert len(builds) == 2
    assert (first.digest, first.file) == (second.digest, second.file)
    assert len(list(files.rglob("*.pdf"))) == 1


def test_a_damaged_file_of_the_same_name_is_written_anew(job, files):
    done = run_job(job.pk)
    (files / done.file).write_bytes(b"half")
    Job.objects.update(state=Job.State.QUEUED)
    assert run_job(job.pk).file == done.file
    assert hashlib.sha256((files / done.file).read_bytes()).hexdigest() == done.digest


@pytest.mark.parametrize("state", [Job.State.RUNNING, Job.State.DONE, Job.State.FAILED])
def test_only_a_queued_job_is_taken(job, builds, state):
    Job.objects.update(state=state, heartbeat_at=timezone.now())
    assert run_job(job.pk) is None
    assert builds == []
    assert Job.objects.get().state == state


def test_a_job_that_is_gone_or_never_was_does_no_harm(job, builds):
    Job.objects.all().delete()
    assert run_job(job.pk) is None
    assert run_job(uuid.uuid4()) is None
    assert builds == []


def test_deleted_while_it_is_made_it_stays_deleted(job, monkeypatch):
    keep = running._keep

    def delete_first(made):
        Job.objects.all().delete()
        return keep(made)

    monkeypatch.setattr(running, "_keep", delete_first)
    assert run_job(job.pk) is None
    assert not Job.objects.exists()


def test_a_job_whose_subject_is_gone_fails_in_a_sentence(job, judged_class):
    builders.make_class(judged_class.competition, number="2")
    Job.objects.update(target=999_999)
    failed = run_job(job.pk)
    assert failed.state == Job.State.FAILED
    assert failed.message == "What this report is about is no longer there. Go back to the competition or the season."


def test_made_late_it_shows_and_names_the_version_of_then(job, judged_class, office, files):
    asked_for = job.target_version
    builders.mark_sheet(judged_class.entries.get(number="1"), "C", mark=95)
    done = run_job(job.pk)
    judged_class.refresh_from_db()
    assert done.target_version != asked_for
    assert done.target_version.startswith(f"{judged_class.version}.")
    assert f"Version {judged_class.version} of the class" in PdfReader(files / done.file).pages[0].extract_text()
    assert request_report(kind="results", target=judged_class.pk, by=office).pk == done.pk


def test_two_jobs_that_come_to_the_same_version_both_end_well(job, judged_class, office, sent):
    builders.mark_sheet(judged_class.entries.get(number="1"), "C", mark=95)
    newer = request_report(kind="results", target=judged_class.pk, by=office)
    assert newer.pk != job.pk
    first, second = run_job(job.pk), run_job(newer.pk)
    assert first.state == second.state == Job.State.DONE
    assert first.digest == second.digest


def test_a_class_that_changes_while_it_is_read_is_read_again(job, judged_class, monkeypatch):
    read = PRINTS["results"].read
    changes = iter([70, 80])

    def change_after_reading(subject):
        data = read(subject)
        for mark in changes:
            builders.mark_sheet(judged_class.entries.get(number="1"), "C", mark=mark)
            break
        return data

    monkeypatch.setattr(running, "PRINTS", {"results": replace(PRINTS["results"], read=change_after_reading)})
    done = run_job(job.pk)
    judged_class.refresh_from_db()
    assert done.target_version.startswith(f"{judged_class.version}.")
    assert next(changes, None) is None


@pytest.mark.parametrize(
    ("problem", "says"),
    [
        (ValueError("secret detail"), "because of a fault in the program. Try again"),
        (SoftTimeLimitExceeded(), "took longer than it may"),
    ],
)
def test_a_failure_is_said_to_the_person_and_to_the_log(job, monkeypatch, caplog, problem, says):
    break_the_build(monkeypatch, problem)
    failed = run_job(job.pk)
    assert failed.state == Job.State.FAILED
    assert says in failed.message
    assert "secret detail" not in failed.message
    assert str(job.pk) in caplog.text
    assert failed.finished_at is not None


def test_who_lost_the_lease_does_not_overwrite_who_has_it(job, monkeypatch):
    keep = running._keep

    def lose_the_lease(made):
        Job.objects.update(attempts=2, progress=7)
        return keep(made)

    monkeypatch.setattr(running, "_keep", lose_the_lease)
    left = run_job(job.pk)
    assert (left.state, left.progress, left.file) == (Job.State.RUNNING, 7, "")


@pytest.mark.django_db(transaction=True)
def test_a_job_gives_signs_of_life_while_it_is_made(job):
    Job.objects.update(state=Job.State.RUNNING, attempts=1, heartbeat_at=None)
    written = threading.Event()

    class Watched(Heartbeat):
        def _write(self) -> None:
            super()._write()
            written.set()

    job.refresh_from_db()
    with Watched(job, every=0.01):
        assert written.wait(10)
    job.refresh_from_db()
    assert job.heartbeat_at is not None


@pytest.mark.django_db(transaction=True)
def test_a_heartbeat_that_cannot_be_written_ends_nothing(job, monkeypatch, caplog):
    tried = threading.Event()

    def refuse(**_fields):
        tried.set()
        raise workqueue.DatabaseError("locked")

    class Refusing:
        update = staticmethod(refuse)

    monkeypatch.setattr(workqueue, "held", lambda _work: Refusing())
    with Heartbeat(job, every=0.01):
        assert tried.wait(10)
    assert "could not be written" in caplog.text


def test_one_build_at_a_time_in_a_process(monkeypatch):
    inside, most = 0, 0
    gate = threading.Barrier(3)

    def build(_data):
        nonlocal inside, most
        inside += 1
        most = max(most, inside)
        threading.Event().wait(0.05)
        inside -= 1
        return b"pages"

    monkeypatch.setattr(running, "PRINTS", {"results": replace(PRINTS["results"], build=build)})
    monkeypatch.setattr(
        running, "kind_named", lambda name: replace(KINDS[name], file_name=lambda _subject: "results.pdf")
    )
    monkeypatch.setattr(running, "_read", lambda _job, _kind: ("1", None, None))
    monkeypatch.setattr(running, "note_progress", lambda _job, _progress: None)

    def make() -> None:
        gate.wait()
        running._make(Job(kind="results"))

    threads = [threading.Thread(target=make) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1
