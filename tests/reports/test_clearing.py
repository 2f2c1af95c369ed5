from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.cache import cache
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from reports.models import Job
from reports.services.clearing import KEPT_FOR, KEPT_VERSIONS, clear_old_reports

pytestmark = pytest.mark.django_db


def made(version: int, *, days: int, target: int = 1, state: str = Job.State.DONE) -> Job:
    file = default_storage.save(f"reports/{target}-{version}.pdf", ContentFile(b"%PDF-"))
    return Job.objects.create(
        kind="results",
        target=target,
        target_version=str(version),
        key=f"{target}-{version}",
        state=state,
        file=file,
        finished_at=timezone.now() - timedelta(days=days),
    )


def test_old_versions_go_with_their_files_and_the_latest_stay():
    jobs = [made(version, days=30 - version) for version in range(KEPT_VERSIONS + 2)]
    other = made(1, days=90, target=2)
    assert clear_old_reports() == 2
    left = set(Job.objects.values_list("pk", flat=True))
    assert left == {other.pk, *(job.pk for job in jobs[2:])}
    assert [default_storage.exists(job.file) for job in jobs] == [False, False, True, True, True]
    assert clear_old_reports() == 0


def test_what_is_young_or_not_done_stays():
    for version in range(KEPT_VERSIONS + 2):
        made(version, days=KEPT_FOR.days - 1)
        made(version, days=90, target=2, state=Job.State.FAILED)
    assert clear_old_reports() == 0
    assert Job.objects.count() == 2 * (KEPT_VERSIONS + 2)


def test_other_options_are_another_document():
    for version in range(KEPT_VERSIONS + 1):
        job = made(version, days=30)
        Job.objects.filter(pk=job.pk).update(options={"season": version})
    assert clear_old_reports() == 0


def test_the_sweep_clears_now_and_then_only():
    cache.delete("reports-cleared")
    for version in range(KEPT_VERSIONS + 1):
        made(version, days=30)
    assert clear_old_reports(now_and_then=True) == 1
    made(99, days=40)
    assert clear_old_reports(now_and_then=True) == 0
