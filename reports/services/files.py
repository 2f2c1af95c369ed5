"""The file of a report, whole or not at all."""

from __future__ import annotations

import hashlib

from django.core.files.storage import default_storage

from reports.models import Job


def file_of(job: Job) -> bytes | None:
    """Return the bytes of a job that is done; None where it is not, or where the file is gone or damaged.

    A damaged file is removed, so that ``retry_job`` makes it anew.
    """
    if job.state != Job.State.DONE or not default_storage.exists(job.file):
        return None
    with default_storage.open(job.file) as kept:
        pages: bytes = kept.read()
    if hashlib.sha256(pages).hexdigest() == job.digest:
        return pages
    default_storage.delete(job.file)
    return None
