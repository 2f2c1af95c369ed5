"""Who changed what, when, from where, why, and what stood there before: sheets, entries and official results."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from competitions.desk.typed import mark_as_written
from competitions.models import CompetitionClass, Entry, KeyingDecision, PanelSeat, PublishedResults, Sheet
from competitions.selectors.consequences import deduction_sentence
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.keyings import labels_of
from competitions.selectors.recordings import time_text
from riders.models import Pair


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that changed: what it is, what stood there before, what stands there since."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    version: int
    at: datetime
    by: str
    source: str
    reason: str
    lines: tuple[Line, ...]
    sentence: str = ""


def sheet_history(sheet: Sheet, *, cls: CompetitionClass, seat: PanelSeat) -> list[Change]:
    """Return the savings of a sheet, its second keyings and what was decided about them, the newest first."""
    items = items_of_seat(test_of(cls), seat)
    labels = {item.id: item.label for item in items}
    zone = cls.competition.zone
    savings = [
        Change(
            version=revision.version,
            at=revision.at.astimezone(zone),
            by=str(revision.by) if revision.by else "no account",
            source=revision.get_source_display(),
            reason=revision.reason,
            lines=tuple(_sheet_lines(revision.before, revision.after, labels)),
        )
        for revision in sheet.revisions.select_related("by").order_by("-version")
    ]
    keyed = _keyings(sheet, zone=zone, labels=labels_of(items, remarks=True))
    return sorted([*savings, *keyed], key=lambda change: change.at, reverse=True)


def _keyings(sheet: Sheet, *, zone: ZoneInfo, labels: Mapping[str, str]) -> Iterator[Change]:
    for keying in sheet.second_keyings.select_related("by").prefetch_related("decisions__by").order_by("-pk"):
        for row in reversed(keying.decisions.all()):
            yield Change(
                version=0,
                at=row.at.astimezone(zone),
                by=str(row.by) if row.by else "no account",
                source="keyings compared",
                reason=row.reason,
                lines=(Line(labels.get(row.field, row.field), _both(row), row.value),),
            )
        yield Change(
            version=0,
            at=keying.at.astimezone(zone),
            by=str(keying.by) if keying.by else "no account",
            source="second keying",
            reason="",
            lines=(),
            sentence=f"The paper was keyed again beside version {keying.first_version}, without sight of it.",
        )


def _both(row: KeyingDecision) -> str:
    return f"{row.first or 'nothing'} and {row.second or 'nothing'}"


def _sheet_lines(before: Mapping[str, Any], after: Mapping[str, Any], labels: Mapping[str, str]) -> Iterable[Line]:
    known = [*labels, *(item for item in {**before["marks"], **after["marks"]} if item not in labels)]
    for item in known:
        old, new = before["marks"].get(item), after["marks"].get(item)
        if old != new:
            yield Line(f"Mark, {labels.get(item, item)}", mark_as_written(old), mark_as_written(new))
        old_words, new_words = before["remarks"].get(item, ""), after["remarks"].get(item, "")
        if old_words != new_words:
            yield Line(f"Remark, {labels.get(item, item)}", old_words, new_words)
        yield from _recording_lines(before, after, item, label=labels.get(item, item))
    for key, what in (
        ("overall_remarks", "Overall remarks"),
        ("typed_total", "Total on the paper"),
        ("signed", "Signed"),
        ("given_result", "Result without marks"),
        ("substitutes", "Substitutes"),
    ):
        if before[key] != after[key]:
            yield Line(what, _said(before[key]), _said(after[key]))
    old_time, new_time = before.get("overall_time"), after.get("overall_time")
    if old_time != new_time:
        yield Line("Time of the overall remarks", time_text(old_time), time_text(new_time))


def _recording_lines(before: Mapping[str, Any], after: Mapping[str, Any], item: str, *, label: str) -> Iterable[Line]:
    """Say what changed of a ride seen in a recording; revisions from before there were any hold none of it."""
    for key, what in (("times", "Time"), ("remark_times", "Time of the remark")):
        old, new = before.get(key, {}).get(item), after.get(key, {}).get(item)
        if old != new:
            yield Line(f"{what}, {label}", time_text(old), time_text(new))
    old_view, new_view = (item in record.get("limited", ()) for record in (before, after))
    if old_view != new_view:
        yield Line(f"Limited view, {label}", _said(old_view), _said(new_view))


def entry_history(entry: Entry, *, cls: CompetitionClass) -> list[Change]:
    """Return the changes of an entry, the newest first."""
    changes = list(entry.changes.select_related("by").order_by("-id"))
    pair_ids = {record.get("pair") for change in changes for record in (change.before, change.after)}
    pairs = Pair.objects.select_related("rider", "horse").in_bulk([pk for pk in pair_ids if pk])
    zone = cls.competition.zone
    return [
        Change(
            version=len(changes) - index,
            at=change.at.astimezone(zone),
            by=str(change.by) if change.by else "no account",
            source="",
            reason=change.reason,
            lines=tuple(_entry_lines(change.before, change.after, pairs)),
        )
        for index, change in enumerate(changes)
    ]


def _entry_lines(before: Mapping[str, Any], after: Mapping[str, Any], pairs: Mapping[int, Pair]) -> Iterable[Line]:
    for key, what in (
        ("number", "Number"),
        ("pair", "Pair"),
        ("status", "Status"),
        ("status_reason", "Reason"),
        ("errors", "Errors of course"),
        ("deductions", "Deductions"),
        ("hors_concours", "Hors concours"),
        ("team", "Team"),
    ):
        old, new = before.get(key), after.get(key)
        if key == "pair":
            old, new = (str(pairs[pk]) if pk and pk in pairs else "" for pk in (old, new))
        if old != new and (old or new):
            yield Line(what, _said(old), _said(new))


def _said(value: object) -> str:
    """Write a kept value for a reader of the history."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{kind} {figure}" for kind, figure in value.items())
    if isinstance(value, list):
        return "; ".join(deduction_sentence(entry) if isinstance(entry, dict) else str(entry) for entry in value)
    return "" if value is None else str(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultChange:
    """One entry's line in two revisions of the official results; empty text where it is in one of them only."""

    number: str
    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    published: PublishedResults
    at: datetime
    withdrawn_at: datetime | None
    changes: tuple[ResultChange, ...]
    first: bool


def result_history(cls: CompetitionClass) -> list[Revision]:
    """Return the official revisions, the newest first, each with what it changed against the one before it."""
    revisions = list(cls.published.select_related("published_by").order_by("revision"))
    names = {entry.number: str(entry.pair) for entry in cls.entries.select_related("pair__rider", "pair__horse")}
    zone = cls.competition.zone
    found: list[Revision] = []
    for index, published in enumerate(revisions):
        before = revisions[index - 1].document if index else None
        found.append(
            Revision(
                published=published,
                at=published.published_at.astimezone(zone),
                withdrawn_at=published.withdrawn_at.astimezone(zone) if published.withdrawn_at else None,
                changes=tuple(result_changes(before, published.document, names)) if before else (),
                first=index == 0,
            )
        )
    return found[::-1]


def result_changes(
    before: Mapping[str, Any], after: Mapping[str, Any], names: Mapping[str, str]
) -> Iterable[ResultChange]:
    """Compare two ``results/1`` documents line by line, in the order of the later one."""
    old = {row["number"]: row for row in before.get("entries", [])}
    new = {row["number"]: row for row in after.get("entries", [])}
    for number in [*new, *(number for number in old if number not in new)]:
        was, now = _result_line(old.get(number)), _result_line(new.get(number))
        if was != now:
            yield ResultChange(number=number, name=names.get(number, ""), before=was, after=now)


def _result_line(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return ""
    said = [row["status"]]
    if row["placing"] is not None:
        said = [f"placing {row['placing']}{' shared' if row['shared'] else ''}"]
    if row["hors_concours"]:
        said.append("hors concours")
    if row["total"]:
        said.append(f"{row['total']} %")
    if row["penalty"]:
        said.append(f"{row['penalty']} penalties")
    if row["points"]:
        said.append(f"{row['points']} points")
    if row["reason"]:
        said.append(str(row["reason"]))
    return ", ".join(said)
