"""What was done to a competition and to a class, by whom, when and why, in words: details, panel, office, order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from competitions.desk.history import Change, Line
from competitions.models import (
    ClassChange,
    Competition,
    CompetitionChange,
    CompetitionClass,
    RuleSet,
    SecondKeyingMode,
    Test,
)
from riders.models import Association, Pair

_COMPETITION_FIELDS = {
    "title": "Title",
    "venue": "Venue",
    "organiser": "Organiser",
    "starts_on": "First day",
    "ends_on": "Last day",
    "time_zone": "Time zone",
    "state": "State",
    "association": "Association",
    "recognised": "Recognised",
    "sheets_signed": "Sheets have to be signed",
    "seat_limit": "Seats may differ by",
    "movement_limit": "Marks may differ by",
    "second_keying": "Sheets of paper keyed twice",
    "second_keying_remarks": "Remarks keyed twice too",
}
_CLASS_FIELDS = {
    "number": "Number",
    "title": "Title",
    "level": "Level",
    "division": "Division",
    "test": "Test",
    "rule_set": "Rule set",
    "arena": "Arena",
    "date": "Day",
    "starts_at": "First ride at",
    "interval_seconds": "Time from ride to ride",
    "breaks": "Breaks",
    "from_recordings": "Judged from recordings",
    "second_keying": "Sheets of paper keyed twice",
    "teams": "Teams",
}
_OF = {"percentage": "total percentages", "points": "points", "penalty": "penalties"}


def competition_history(competition: Competition) -> list[Change]:
    """Return what was done to a competition itself, the newest first."""
    rows = list(competition.changes.select_related("by").order_by("-id"))
    associations = {found.pk: found.title for found in Association.objects.all()}
    words: dict[str, Any] = {
        "association": lambda key: associations.get(key, "") if key else "",
        "starts_on": _day,
        "ends_on": _day,
        "second_keying": _keyed_twice,
    }
    return [_competition_change(competition, row, words) for row in rows]


def class_history(cls: CompetitionClass) -> list[Change]:
    """Return what was done to a class itself, the newest first; who was in the ring when is left out."""
    rows = list(cls.changes.exclude(action="in the ring").select_related("by").order_by("-id"))
    words = _ClassWords.for_rows(rows)
    return [
        Change(
            version=0,
            at=row.at.astimezone(cls.competition.zone),
            by=str(row.by) if row.by else "no account",
            source=row.action,
            reason=row.reason,
            lines=tuple(words.lines(row)),
            sentence=words.sentence(row),
        )
        for row in rows
    ]


def draws_of(cls: CompetitionClass) -> list[Change]:
    """Return the draws of the running order, the last first, each with its seed as the reason."""
    return [change for change in class_history(cls) if change.source == "running order drawn"]


def _competition_change(competition: Competition, row: CompetitionChange, words: Mapping[str, Any]) -> Change:
    before, after = row.before or {}, row.after
    lines = [*_field_lines(before, after, _COMPETITION_FIELDS, words)] if row.before else []
    lines += _office_lines(before, after)
    lines += _account_lines(before, after)
    return Change(
        version=0,
        at=row.at.astimezone(competition.zone),
        by=str(row.by) if row.by else "no account",
        source=_what_was_done(row),
        reason="",
        lines=tuple(lines),
        sentence=""
        if row.before
        else f"{after['title']}, {after['venue']}, {_day(after['starts_on'])} to {_day(after['ends_on'])}.",
    )


def _what_was_done(row: CompetitionChange) -> str:
    if row.before is None:
        return "set up"
    if "office" in row.after:
        return "office changed"
    return "account of a judge changed" if "accounts_of_judges" in row.after else "details changed"


def _office_lines(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterable[Line]:
    old, new = before.get("office", []), after.get("office", [])
    for name in sorted({*old, *new}):
        if (name in old) != (name in new):
            yield Line(f"Account {name}", *("in the office" if name in there else "not in it" for there in (old, new)))


def _account_lines(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterable[Line]:
    old, new = before.get("accounts_of_judges", {}), after.get("accounts_of_judges", {})
    for judge, account in new.items():
        yield Line(f"{judge} logs in as", old.get(judge, ""), account)


def _field_lines(
    before: Mapping[str, Any], after: Mapping[str, Any], names: Mapping[str, str], words: Mapping[str, Any]
) -> Iterable[Line]:
    for key, what in names.items():
        old, new = before.get(key), after.get(key)
        if old != new:
            write = words.get(key, _plain)
            yield Line(what, write(old), write(new))


@dataclass(frozen=True, slots=True)
class _ClassWords:
    """The names that records of classes hold by key or number, looked up once for a whole history."""

    tests: Mapping[str, str]
    rule_sets: Mapping[str, str]
    pairs: Mapping[int, Pair]

    @classmethod
    def for_rows(cls, rows: Sequence[ClassChange]) -> _ClassWords:
        records = [record for row in rows for record in (row.before, row.after) if isinstance(record, dict)]
        tests = Test.objects.filter(key__in={record["test"] for record in records if "test" in record})
        rule_sets = RuleSet.objects.filter(key__in={record["rule_set"] for record in records if "rule_set" in record})
        pairs = Pair.objects.select_related("rider", "horse").filter(
            pk__in={record["pair"] for record in records if record.get("pair")}
        )
        return cls(
            tests=dict(tests.order_by().values_list("key", "title")),
            rule_sets=dict(rule_sets.order_by().values_list("key", "title")),
            pairs={pair.pk: pair for pair in pairs},
        )

    def lines(self, row: ClassChange) -> Iterable[Line]:
        if row.action == "running order changed":
            yield Line("Order of the rides", _plain(row.before), _plain(row.after))
        elif isinstance(row.before, dict) and isinstance(row.after, dict):
            yield from _field_lines(row.before, row.after, _CLASS_FIELDS, self._writers())
            yield from _panel_lines(row.before.get("panel", []), row.after.get("panel", []))

    def sentence(self, row: ClassChange) -> str:
        record = row.before if isinstance(row.before, dict) else row.after
        if not isinstance(record, dict) or (row.before and row.after):
            return ""
        if row.action == "entry removed":
            pair = self.pairs.get(record.get("pair") or 0)
            who = f", {pair.rider.name} with {pair.horse.name}," if pair else ""
            return f"Number {record.get('number', '')}{who} was taken out."
        if "revision" in record:
            return f"Revision {record['revision']}."
        return self._set_up(record) if "panel" in record else ""

    def _set_up(self, record: Mapping[str, Any]) -> str:
        writers = self._writers()
        start = f", first ride at {_clock(record['starts_at'])}" if record.get("starts_at") else ""
        panel = "; ".join(_seat(member) for member in record["panel"])
        return (
            f"Class {record['number']}: {record['title']}, {writers['test'](record['test'])}, "
            f"{writers['rule_set'](record['rule_set'])}, {_day(record['date'])}{start}. Panel: {panel}."
        )

    def _writers(self) -> dict[str, Any]:
        return {
            "test": lambda key: self.tests.get(key, _plain(key)),
            "rule_set": lambda key: self.rule_sets.get(key, _plain(key)),
            "date": _day,
            "starts_at": _clock,
            "second_keying": _keyed_twice,
            "interval_seconds": _interval,
            "breaks": _breaks,
            "teams": _teams,
        }


def _panel_lines(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> Iterable[Line]:
    old, new = ({member["seat"]: member for member in panel} for panel in (before, after))
    for seat in [*new, *(seat for seat in old if seat not in new)]:
        was, now = old.get(seat), new.get(seat)
        if was != now:
            yield Line(f"Seat {seat}", *(_judge(member) if member else "no such seat" for member in (was, now)))
    if set(old) == set(new) and list(old) != list(new):
        yield Line("Order of the seats", ", ".join(old), ", ".join(new))


def _seat(member: Mapping[str, Any]) -> str:
    return f"{member['seat']}, {_judge(member)}"


def _judge(member: Mapping[str, Any]) -> str:
    parts = f", marks {' and '.join(member['parts'])}" if member.get("parts") else ""
    return f"{member.get('judge') or 'no judge named'}{parts}"


def _day(value: object) -> str:
    try:
        day = date.fromisoformat(str(value))
    except ValueError:
        return _plain(value)
    return f"{day.day} {day:%B %Y}"


def _clock(value: object) -> str:
    return _plain(value)[:5]


def _keyed_twice(mode: str | None) -> str:
    return str(SecondKeyingMode(mode).label) if mode else "as the competition"


def _interval(seconds: int) -> str:
    minutes, rest = divmod(seconds, 60)
    return f"{minutes} minutes" + (f" {rest} seconds" if rest else "")


def _breaks(breaks: Sequence[Mapping[str, int]]) -> str:
    return "; ".join(f"{pause['minutes']} minutes after ride {pause['after']}" for pause in breaks or ())


def _teams(rules: Mapping[str, Any] | None) -> str:
    if not rules:
        return ""
    put_together = "their mean" if rules.get("method") == "mean" else "their sum"
    said = f"best {rules.get('counting')} of each team, {put_together}, of {_OF.get(rules.get('of', ''), 'totals')}"
    return said + (f"; a member without a total counts with {rules['drop_out']}" if rules.get("drop_out") else "")


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_plain(entry) for entry in value)
    return "" if value is None else str(value)
