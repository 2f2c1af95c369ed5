"""Who may ask for a report and have its file. Asked again each time: a right that has gone takes the file with it."""

from __future__ import annotations

from typing import Any

from reports.kinds import KINDS, kind_named
from reports.models import Job
from riders.errors import InvalidInput
from riders.policy import Visitor


def can_request(user: Visitor, *, kind: str, subject: Any) -> bool:
    """Answer for what a report would be about."""
    return kind_named(kind).may_have(user, subject)


def can_view(user: Visitor, job: Job) -> bool:
    """Answer for a job and its file; of a subject that is gone only staff may still see what became of the job."""
    kind = KINDS.get(job.kind)
    if kind is None:
        return False
    try:
        subject = kind.find(job.target, job.options)
    except InvalidInput:
        subject = None
    if subject is None:
        return bool(user.is_authenticated and user.is_staff)
    return kind.may_have(user, subject)
