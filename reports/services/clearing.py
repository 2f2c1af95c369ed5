"""Clearing away documents of versions that nobody shows any more, so that the file store does not grow for ever.

A provisional result list is made again at every version of its class. Of each thing asked for (kind, subject, options)
the latest versions stay, whatever their age; an older version goes once it has lain for a week. Asking for the current
version is never affected, and a closed season's documents are versions of their edition, which does not change.
"""

from __future__ import annotations

import json
from datetime import timedelta

from django.core.cache import cache
from django.core.files.storage import default_storage
from django.utils import timezone

from reports.models import Job
from riders.transactions import write_transaction

KEPT_VERSIONS = 3
KEPT_FOR = timedelta(days=7)
_AT_ONCE = 200
_EVERY_SECONDS = 3600


def clear_old_reports(*, now_and_then: bool = False) -> int:
    """Remove outdated documents with their jobs; return how many. With ``now_and_then`` at most once an hour."""
    if now_and_then and not cache.add("reports-cleared", 1, _EVERY_SECONDS):
        return 0
    outdated = _outdated()[:_AT_ONCE]
    with write_transaction():
        gone = Job.objects.filter(pk__in=[pk for pk, _ in outdated], state=Job.State.DONE)
        gone.delete()
    for _, file in outdated:
        if file and not Job.objects.filter(file=file).exists():
            default_storage.delete(file)
    return len(outdated)


def _outdated() -> list[tuple[object, str]]:
    seen: dict[tuple[str, int, str], int] = {}
    found: list[tuple[object, str]] = []
    week_ago = timezone.now() - KEPT_FOR
    done = Job.objects.filter(state=Job.State.DONE).order_by("-finished_at", "-pk")
    for job in done.only("kind", "target", "options", "finished_at", "file").iterator(chunk_size=500):
        place = (job.kind, job.target, json.dumps(job.options, sort_keys=True))
        seen[place] = seen.get(place, 0) + 1
        if seen[place] > KEPT_VERSIONS and job.finished_at is not None and job.finished_at < week_ago:
            found.append((job.pk, job.file))
    return found
