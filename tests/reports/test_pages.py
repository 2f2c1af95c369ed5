from __future__ import annotations

import re
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from reports.models import Job
from reports.services import request_report, run_job
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(judged_class, office, sent) -> Job:
    return request_report(kind="results", target=judged_class.pk, by=office)


@pytest.fixture
def private_job(judged_class, office, sent) -> Job:
    pair = judged_class.entries.get(number="1").pair
    pair.rider.name = 'Őrsi/Fűzfa "Ő"'
    pair.rider.save()
    return request_report(kind="sheets", target=judged_class.entries.get(number="1").pk, by=office)


def address(job: Job, name: str = "report") -> str:
    return reverse(name, args=[job.pk])


def test_the_form_leads_to_the_page_of_the_job(client, judged_class, office, sent):
    client.force_login(office)
    answer = client.post(reverse("report-request"), {"kind": "results", "target": str(judged_class.pk)})
    job = Job.objects.get()
    assert answer.status_code == 302
    assert answer.url == address(job)
    again = client.post(reverse("report-request"), {"kind": "results", "target": str(judged_class.pk)})
    assert again.url == address(job)


def test_a_statement_is_asked_for_with_its_season(client, judged_class, sent):
    client.force_login(builders.make_user("staff", is_staff=True))
    season = builders.make_season()
    pair = judged_class.entries.first().pair
    client.post(
        reverse("report-request"), {"kind": "season-statement", "target": str(pair.pk), "season": str(season.pk)}
    )
    assert Job.objects.get().options == {"season": season.pk}


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"kind": "results", "target": "twelve"}, "is the id of something"),
        ({"kind": "poster", "target": "1"}, "There is no report of the kind"),
        ({"kind": "results", "target": "999999"}, "There is nothing with the id 999999"),
        ({}, "is the id of something"),
    ],
)
def test_a_form_that_cannot_be_used_is_answered_in_a_sentence(client, office, form, says):
    client.force_login(office)
    answer = client.post(reverse("report-request"), form)
    assert answer.status_code == 422
    assert says in answer.content.decode()


def test_who_may_not_have_it_is_asked_to_log_in_or_told_so(client, judged_class, sent):
    form = {"kind": "sheets", "target": str(judged_class.entries.first().pk)}
    answer = client.post(reverse("report-request"), form)
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("login"))
    client.force_login(builders.make_user("stranger"))
    answer = client.post(reverse("report-request"), form)
    assert answer.status_code == 403
    assert "You may not have this report." in answer.content.decode()


def test_asking_takes_a_token_against_forged_forms(judged_class, office):
    client = Client(enforce_csrf_checks=True)
    client.force_login(office)
    answer = client.post(reverse("report-request"), {"kind": "results", "target": str(judged_class.pk)})
    assert answer.status_code == 403
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("state", "shows", "waiting"),
    [
        (Job.State.QUEUED, "waits for its turn", True),
        (Job.State.RUNNING, "is being made", True),
        (Job.State.FAILED, "The press jammed.", False),
    ],
)
def test_the_page_says_how_far_it_is(client, job, office, state, shows, waiting):
    Job.objects.update(state=state, progress=40, message="The press jammed.")
    client.force_login(office)
    answer = client.get(address(job))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert shows in page
    assert ("data-waiting" in page) is waiting
    assert ("Try again" in page) is (state == Job.State.FAILED)
    assert answer["Cache-Control"].startswith("max-age=0, no-cache")
    part = client.get(address(job), headers={"X-Part": "state"}).content.decode()
    assert "<html" not in part
    assert shows in part
    assert ('http-equiv="refresh"' in page) is waiting


def test_nothing_on_the_page_needs_more_than_the_content_policy_allows(client, job, office):
    client.force_login(office)
    page = client.get(address(job)).content.decode()
    assert re.search(r"<script(?![^>]*\bsrc=)", page) is None
    assert re.search(r"\sstyle=|\son\w+=|<style", page) is None
    assert "https://" not in page.replace("http://testserver", "")


def test_when_it_is_done_the_page_leads_to_the_file(client, job, office):
    run_job(job.pk)
    page = client.get(address(job)).content.decode()
    assert address(job, "report-file") in page
    answer = client.get(address(job, "report-file"))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert answer["Content-Disposition"] == ('inline; filename="Linden Autumn Days, class 1, results, provisional.pdf"')
    assert answer["ETag"] == f'"{Job.objects.get().digest}"'
    saved = client.get(address(job, "report-file") + "?save")
    assert saved["Content-Disposition"].startswith("attachment; ")


def test_a_name_in_any_letters_becomes_a_file_name_that_every_system_takes(client, private_job, office):
    run_job(private_job.pk)
    client.force_login(office)
    disposition = client.get(address(private_job, "report-file"))["Content-Disposition"]
    assert disposition.startswith("inline; filename*=utf-8''")
    assert "%C5%90rsi%20F%C5%B1zfa" in disposition
    assert "/" not in Job.objects.get().file_name
    assert '"' not in Job.objects.get().file_name


def test_a_private_file_is_checked_each_time(client, private_job, judged_class, office):
    run_job(private_job.pk)
    for name in ("report", "report-file"):
        answer = client.get(address(private_job, name))
        assert answer.status_code == 302
        assert answer.url.startswith(reverse("login"))
    client.force_login(builders.make_user("stranger"))
    for name in ("report", "report-file"):
        assert client.get(address(private_job, name)).status_code == 404
    assert client.post(address(private_job, "report-retry")).status_code == 404
    client.force_login(office)
    answer = client.get(address(private_job, "report-file"))
    assert answer.status_code == 200
    assert answer["Cache-Control"] == "private, no-cache"
    judged_class.competition.office_roles.all().delete()
    assert client.get(address(private_job, "report-file")).status_code == 404


def test_a_failed_report_is_tried_again_with_one_button(client, job, office, sent, django_capture_on_commit_callbacks):
    Job.objects.update(state=Job.State.FAILED, message="The press jammed.")
    client.force_login(office)
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(address(job, "report-retry"))
    assert answer.url == address(job)
    assert Job.objects.get().state == Job.State.QUEUED
    assert sent == [str(job.pk)]


@pytest.mark.parametrize("damage", ["unlink", "write"])
def test_a_file_that_is_gone_or_damaged_is_made_anew(client, job, files, damage):
    done = run_job(job.pk)
    kept = files / done.file
    if damage == "unlink":
        kept.unlink()
    else:
        kept.write_bytes(b"%PDF-half")
    answer = client.get(address(job, "report-file"))
    assert (answer.status_code, answer.url) == (302, address(job))
    assert Job.objects.get().state == Job.State.QUEUED
    run_job(job.pk)
    assert client.get(address(job, "report-file")).status_code == 200


def test_the_file_of_a_report_that_is_not_ready_leads_back_to_its_page(client, job):
    answer = client.get(address(job, "report-file"))
    assert (answer.status_code, answer.url) == (302, address(job))


def test_an_unknown_report_is_not_found(client):
    assert client.get(reverse("report", args=[uuid.uuid4()])).status_code == 404


@pytest.mark.parametrize(("name", "method"), [("report-request", "get"), ("report-retry", "get"), ("report", "post")])
def test_each_address_takes_its_own_method_only(client, job, name, method):
    url = reverse(name) if name == "report-request" else address(job, name)
    assert getattr(client, method)(url).status_code == 405


def test_a_report_whose_subject_is_gone_tells_staff_what_happened(client, job):
    Job.objects.update(target=999_999, state=Job.State.FAILED, message="What this report is about is gone.")
    client.force_login(builders.make_user("staff", is_staff=True))
    page = client.get(address(job)).content.decode()
    assert "no longer there" in page
    assert "What this report is about is gone." in page
