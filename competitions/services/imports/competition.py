"""A competition with its classes and panels out of a ``competition/1`` document."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import time
from functools import partial
from typing import Any, TypeVar
from zoneinfo import available_timezones

from competitions.models import Competition, CompetitionClass, RuleSet, SecondKeyingMode, Test
from competitions.services.classes import (
    judge_named,
    write_class,
    write_competition,
    write_new_class,
    write_new_competition,
)
from competitions.services.clock import lock_open_class
from competitions.services.history import class_record, note_class
from competitions.services.results import recompute_class
from competitions.services.team_rules import refuse_bad_team_rules
from riders.errors import DomainError, InvalidInput, NotAllowed
from riders.intake import (
    Imported,
    Problems,
    day_from,
    line_from,
    plain_document,
    refuse,
    refuse_document,
    refuse_reversed_days,
    slug_from,
)
from riders.models import Association, User
from riders.transactions import write_transaction
from scoring.documents import Reader, describe, take_format

_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)
_LIMIT = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3})?", re.ASCII)
_DEFAULT_INTERVAL = 480
_Known = TypeVar("_Known", Test, RuleSet)


@dataclass(frozen=True, slots=True)
class ImportedCompetition:
    """The competition, and how many classes (itself counted with them) were made, changed and left as they were."""

    competition: Competition
    created: int
    changed: int
    unchanged: int

    def __str__(self) -> str:
        return str(Imported(self.created, self.changed, self.unchanged))


@dataclass(slots=True)
class _WantedClass:
    path: str
    fields: dict[str, Any]
    panel: list[dict[str, Any]]
    teams: dict[str, Any] | None
    says_teams: bool

    def record(self) -> dict[str, Any]:
        """Return the class as its history would keep it, to be compared with what stands there."""
        return {
            **self.fields,
            "test": self.fields["test"].key,
            "rule_set": self.fields["rule_set"].key,
            "date": str(self.fields["date"]),
            "starts_at": str(self.fields["starts_at"] or ""),
            "panel": [{key: member[key] for key in ("seat", "judge", "parts")} for member in self.panel],
        }


def import_competition(document: object, *, by: User | None) -> ImportedCompetition:
    """Set up a competition from a ``competition/1`` document, or bring one that is there to what the document says.

    Tests, rule sets and the association must be known. Classes that the document does not name stay as they are; a
    class with official results is not changed. A new competition is planned: it is published at the desk. Keys that are
    left out leave what stands there.
    """
    reader = Reader.over(document)
    fields, wanted = _Reading(reader).read()
    refuse_document(reader.problems, what="the competition")
    with write_transaction():
        competition = Competition.objects.select_for_update().filter(slug=fields["slug"]).first()
        if competition is not None and not _may_change(by, competition):
            raise NotAllowed(f"You do not work in the office of {competition.title}, so you cannot import into it.")
        problems: Problems = []
        summary = Imported()
        if competition is None:
            competition = write_new_competition(by=by, **fields)
            summary += Imported(created=1)
        elif any(getattr(competition, name) != value for name, value in fields.items()):
            write_competition(competition, by=by, **fields)
            summary += Imported(changed=1)
        else:
            summary += Imported(unchanged=1)
        for item in wanted:
            summary += _attempt(partial(_keep_class, competition, item, by), item.path, problems)
        refuse(problems, what="the competition")
    return ImportedCompetition(competition, summary.created, summary.changed, summary.unchanged)


def _may_change(by: User | None, competition: Competition) -> bool:
    return by is None or by.is_staff or competition.office_roles.filter(user=by).exists()


def _attempt(act: Callable[[], Imported], path: str, problems: Problems) -> Imported:
    """Do one thing of many; what it refuses is noted under its path."""
    try:
        return act()
    except InvalidInput as error:
        problems += [(f"{path}.{where}" if where else path, sentence) for where, sentence in error.problems] or [
            (path, error.message)
        ]
    except DomainError as error:
        problems.append((path, error.message))
    return Imported()


def _keep_class(competition: Competition, wanted: _WantedClass, by: User | None) -> Imported:
    kept = competition.classes.select_related("test", "rule_set").filter(number=wanted.fields["number"]).first()
    same_teams = not wanted.says_teams or wanted.teams == (kept.team_rules if kept else None)
    record = class_record(kept) if kept is not None else {}
    if kept is not None and same_teams and record == record | wanted.record():
        return Imported(unchanged=1)
    panel = [{**member, "judge": judge_named(member["judge"], grade=member["grade"])} for member in wanted.panel]
    if kept is None:
        current = write_new_class(competition, by=by, panel=panel, **wanted.fields)
    else:
        current = lock_open_class(kept.pk)
        write_class(current, by=by, panel=panel, **wanted.fields)
    if not same_teams:
        _write_teams(current, wanted.teams, by=by)
    return Imported(created=1) if kept is None else Imported(changed=1)


def _write_teams(competition_class: CompetitionClass, rules: dict[str, Any] | None, *, by: User | None) -> None:
    refuse_bad_team_rules(competition_class, rules)
    before, competition_class.team_rules = competition_class.team_rules, rules
    competition_class.save(update_fields=["team_rules", "changed_at"])
    note_class(competition_class, "teams changed", by=by, before={"teams": before}, after={"teams": rules})
    recompute_class(competition_class)


class _Reading:
    """One document being read against the tests, rule sets and associations that are known."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.tests = {test.key: test for test in Test.objects.all()}
        self.rule_sets = {rule_set.key: rule_set for rule_set in RuleSet.objects.all()}

    def read(self) -> tuple[dict[str, Any], list[_WantedClass]]:
        reader = self.reader
        take_format(reader, "competition/1")
        fields: dict[str, Any] = {
            "slug": slug_from(reader, "id", most=60),
            "title": line_from(reader, "title", most=160, required=True),
            "venue": line_from(reader, "venue", most=160, required=True),
            "organiser": line_from(reader, "organiser", most=160),
            "starts_on": day_from(reader, "starts_on"),
            "ends_on": day_from(reader, "ends_on"),
            "time_zone": self._zone(),
            "association": self._association(),
            "recognised": reader.take_bool("recognised"),
        }
        fields |= _limits(reader)
        refuse_reversed_days(reader, fields["starts_on"], fields["ends_on"])
        wanted: list[_WantedClass] = []
        for child in reader.objects("classes", required=True):
            item = self._class(child)
            if item.fields["number"] in {other.fields["number"] for other in wanted}:
                child.problem("number", f"Class {item.fields['number']} stands there twice. Give each its own number.")
            wanted.append(item)
        reader.finish()
        return fields, wanted

    def _zone(self) -> str:
        zone = self.reader.take_text("time_zone", default="UTC")
        if zone not in available_timezones():
            self.reader.problem("time_zone", f"{describe(zone)} is no time zone. Give one such as Europe/Vienna.")
        return zone

    def _association(self) -> Association | None:
        slug = self.reader.take_text("association")
        association = Association.objects.filter(slug=slug).first() if slug else None
        if slug and association is None:
            self.reader.problem("association", f"The association {describe(slug)} is not known. Import it first.")
        return association

    def _class(self, reader: Reader) -> _WantedClass:
        fields = {
            "number": line_from(reader, "number", most=10, required=True),
            "title": line_from(reader, "title", most=160, required=True),
            "level": line_from(reader, "level", most=60),
            "division": line_from(reader, "division", most=60),
            "test": _known(reader, "test", self.tests),
            "rule_set": _known(reader, "rules", self.rule_sets),
            "arena": line_from(reader, "arena", most=40),
            "date": day_from(reader, "date"),
            "starts_at": _clock(reader, "starts_at"),
            "interval_seconds": reader.take_int("interval_seconds", default=_DEFAULT_INTERVAL, least=60, most=7200),
            "breaks": _breaks(reader),
        }
        if reader.raw("from_recordings") is not None:
            fields["from_recordings"] = reader.take_bool("from_recordings")
        if reader.has("second_keying") or "second_keying" in reader.value:
            fields["second_keying"] = reader.take_choice("second_keying", SecondKeyingMode.values)
        panel = [_member(child) for child in reader.objects("panel", required=True)]
        says_teams = "teams" in reader.value
        teams = reader.take_object("teams")
        reader.finish()
        return _WantedClass(reader.path, fields, panel, plain_document(teams.value) if teams else None, says_teams)


def _limits(reader: Reader) -> dict[str, Any]:
    """Take what is looked at before results become official; an empty limit is never."""
    fields: dict[str, Any] = {}
    for key in ("seat_limit", "movement_limit"):
        if not reader.has(key):
            reader.raw(key)
            continue
        fields[key] = reader.take_text(key)
        if fields[key] and not _LIMIT.fullmatch(fields[key]):
            reader.problem(
                key, f"{describe(fields[key])} is no limit. Give one such as 2.5, or an empty text for none."
            )
    for key in ("sheets_signed", "second_keying_remarks"):
        if reader.has(key):
            fields[key] = reader.take_bool(key)
        else:
            reader.raw(key)
    if reader.has("second_keying"):
        fields["second_keying"] = reader.take_choice("second_keying", SecondKeyingMode.values, default="off")
    else:
        reader.raw("second_keying")
    return fields


def _known(reader: Reader, key: str, there: Mapping[str, _Known]) -> _Known | None:
    name = reader.take_text(key, required=True, empty=False)
    if name.strip() and name not in there:
        what = "test" if key == "test" else "rule set"
        reader.problem(key, f"The {what} {describe(name)} is not known. Import it first.")
    return there.get(name)


def _clock(reader: Reader, key: str) -> time | None:
    text = reader.take_text(key)
    match = _CLOCK.fullmatch(text)
    if text and match is None:
        reader.problem(key, f"{describe(text)} is not a time of day. Write it as 09:30.")
    return time(int(match[1]), int(match[2])) if match else None


def _breaks(reader: Reader) -> list[dict[str, Any]]:
    breaks = []
    for child in reader.objects("breaks"):
        breaks.append(
            {
                "after": child.take_int("after", required=True, least=1, most=1000),
                "minutes": child.take_int("minutes", required=True, least=1, most=600),
            }
        )
        child.finish()
    return breaks


def _member(reader: Reader) -> dict[str, Any]:
    member = {
        "seat": line_from(reader, "seat", most=10, required=True),
        "judge": line_from(reader, "judge", most=120),
        "grade": line_from(reader, "grade", most=80),
        "parts": reader.take_list("parts"),
    }
    if not all(isinstance(part, str) for part in member["parts"]):
        reader.problem("parts", 'The parts of a seat are texts, such as ["technical"]. Correct the list.')
        member["parts"] = []
    reader.finish()
    return member
