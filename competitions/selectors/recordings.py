"""Recordings of rides: the one that stands, its moments as people write them, and whether judging has begun."""

from __future__ import annotations

from competitions.models import CompetitionClass, Entry, Recording, Sheet


def kept_recording(entry: Entry) -> Recording | None:
    """Return the recording from which an entry is judged; read in Python, so that prefetched rows serve."""
    return next((found for found in entry.recordings.all() if found.state == Recording.State.KEPT), None)


def judged_recording(entry: Entry) -> Recording | None:
    """Return the recording that an entry was judged from, also when its film has been deleted since."""
    deleted = [found for found in entry.recordings.all() if found.state == Recording.State.DELETED]
    return kept_recording(entry) or (max(deleted, key=lambda found: found.pk) if deleted else None)


def time_text(milliseconds: int | None) -> str:
    """Write a moment of a recording: 83400 is 1:23.4, an hour is 1:00:00; nothing for none.

    >>> time_text(83400), time_text(3_600_000), time_text(0), time_text(None)
    ('1:23.4', '1:00:00', '0:00', '')
    """
    if milliseconds is None:
        return ""
    seconds, rest = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    whole = f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"
    return f"{whole}.{rest // 100}" if rest // 100 else whole


def numbers_without_recording(competition_class: CompetitionClass) -> list[str]:
    """Return the numbers of a class judged from recordings whose film has not arrived; who does not ride needs none."""
    if not competition_class.from_recordings:
        return []
    filmed = Recording.objects.filter(state=Recording.State.KEPT).values("entry")
    missing = competition_class.entries.exclude(status__in=[Entry.Status.WITHDRAWN, Entry.Status.NO_SHOW])
    return list(missing.exclude(pk__in=filmed).order_by("order", "number", "pk").values_list("number", flat=True))


def judging_begun(entry: Entry) -> bool:
    """Tell whether any seat has given a mark, a remark or a result to the entry."""
    sheets = Sheet.objects.filter(entry=entry).values_list("marks", "remarks", "overall_remarks", "given_result")
    return any(any(row) for row in sheets)
