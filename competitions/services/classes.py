"""Setting up competitions and classes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db.models import F

from competitions.models import Competition, CompetitionClass, Judge, PanelSeat
from competitions.selectors.documents import test_of
from competitions.services.clock import lock_open_class
from competitions.services.entries import store_ride_times
from competitions.services.history import class_record, competition_record, note_class, note_competition
from competitions.services.numbers import number_fault
from competitions.services.results import recompute_class
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction

_MOST_SEATS = 7
_CHANGEABLE = (
    "title",
    "level",
    "division",
    "test",
    "rule_set",
    "arena",
    "date",
    "starts_at",
    "interval_seconds",
    "breaks",
    "second_keying",
    "number",
    "from_recordings",
)


def create_competition(*, by: User | None, **fields: Any) -> Competition:
    """Set up a competition; whoever does it works in its office."""
    with write_transaction():
        return write_new_competition(by=by, **fields)


def write_new_competition(*, by: User | None, **fields: Any) -> Competition:
    """Set up a competition inside the caller's transaction (for imports)."""
    competition = Competition(**fields)
    _check(competition)
    competition.save()
    if by is not None:
        competition.office_roles.get_or_create(user=by)
    note_competition(competition, by=by, before=None, after=competition_record(competition))
    return competition


def update_competition(
    competition: Competition, *, expected_version: int, by: User | None, **fields: Any
) -> Competition:
    with write_transaction():
        current = Competition.objects.select_for_update().get(pk=competition.pk)
        if current.version != expected_version:
            raise Conflict("The competition was changed by someone else. Look at it again, then save.", current=current)
        write_competition(current, by=by, **fields)
    return current


def write_competition(current: Competition, *, by: User | None, **fields: Any) -> None:
    """Change a competition inside the caller's transaction (for imports)."""
    before = competition_record(current)
    for name, value in fields.items():
        setattr(current, name, value)
    _check(current)
    current.version += 1
    current.save()
    note_competition(current, by=by, before=before, after=competition_record(current))
    if current.time_zone != before["time_zone"]:
        for competition_class in current.classes.all():
            store_ride_times(competition_class)
    current.classes.update(version=F("version") + 1)


def create_class(
    competition: Competition, *, by: User | None, panel: Sequence[Mapping[str, Any]], **fields: Any
) -> CompetitionClass:
    """Set up a class with its panel: ``[{"seat": "C", "judge": Judge | None, "parts": []}]``, in column order."""
    with write_transaction():
        return write_new_class(competition, by=by, panel=panel, **fields)


def write_new_class(
    competition: Competition, *, by: User | None, panel: Sequence[Mapping[str, Any]], **fields: Any
) -> CompetitionClass:
    """Set up a class inside the caller's transaction (for imports)."""
    competition_class = CompetitionClass(competition=competition, **fields)
    _check(competition_class)
    _refuse_bad_class(competition_class)
    _refuse_bad_panel(competition_class, panel)
    competition_class.save()
    _store_panel(competition_class, panel)
    note_class(competition_class, "set up", by=by, after=class_record(competition_class))
    recompute_class(competition_class)
    return competition_class


def update_class(
    competition_class: CompetitionClass,
    *,
    expected_version: int | None,
    by: User | None,
    panel: Sequence[Mapping[str, Any]] | None = None,
    **fields: Any,
) -> CompetitionClass:
    """Change a class. Its test, and seats that have sheets, stay once marks have been given."""
    unknown = set(fields) - set(_CHANGEABLE)
    if unknown:
        raise InvalidInput(f"A class has no {', '.join(sorted(unknown))} that could be changed.")
    with write_transaction():
        current = lock_open_class(competition_class.pk)
        if expected_version is not None and current.version != expected_version:
            raise Conflict("The class was changed by someone else. Look at it again, then save.", current=current)
        write_class(current, by=by, panel=panel, **fields)
    return current


def write_class(
    current: CompetitionClass, *, by: User | None, panel: Sequence[Mapping[str, Any]] | None = None, **fields: Any
) -> None:
    """Change a class that is locked and open, inside the caller's transaction (for imports)."""
    if "test" in fields and fields["test"] != current.test and _has_sheets(current):
        raise NotAllowed("The class has marks already, so its test stays as it is.", code="class-has-marks")
    before = class_record(current)
    for name, value in fields.items():
        setattr(current, name, value)
    _check(current)
    _refuse_bad_class(current)
    if panel is not None:
        _refuse_bad_panel(current, panel)
    current.save()
    if panel is not None:
        _store_panel(current, panel)
    note_class(current, "changed", by=by, before=before, after=class_record(current))
    store_ride_times(current)
    recompute_class(current)


def judge_named(name: str, *, grade: str = "") -> Judge | None:
    """Return the judge of this name, made if there is none; None for an empty name. Inside the caller's transaction."""
    name = name.strip()
    if not name:
        return None
    judge, made = Judge.objects.get_or_create(name=name, defaults={"grade": grade.strip()})
    if not made and grade.strip() and not judge.grade:
        judge.grade = grade.strip()
        judge.save(update_fields=["grade"])
    return judge


def _check(thing: Competition | CompetitionClass) -> None:
    """Let the model say what is wrong with its fields, all at once, as sentences."""
    problems: list[tuple[str, str]] = []
    try:
        thing.full_clean(validate_constraints=False)
    except ValidationError as error:
        problems += [(name, message) for name, messages in error.message_dict.items() for message in messages]
    if isinstance(thing, Competition):
        if thing.starts_on and thing.ends_on and thing.ends_on < thing.starts_on:
            problems.append(("ends_on", "The last day lies before the first. Correct one of the two."))
        if thing.time_zone not in available_timezones():
            problems.append(("time_zone", f'"{thing.time_zone}" is no time zone. Give one such as Europe/Vienna.'))
    if problems:
        raise InvalidInput("Some fields need correcting.", problems=problems)


def _refuse_bad_class(competition_class: CompetitionClass) -> None:
    fault = number_fault(competition_class.number, what="a class")
    problems = [("number", fault)] if fault else []
    others = CompetitionClass.objects.filter(
        competition=competition_class.competition, number=competition_class.number
    ).exclude(pk=competition_class.pk)
    if others.exists():
        problems.append(
            ("number", f"Class {competition_class.number} exists already in this competition. Give another number.")
        )
    competition = competition_class.competition
    if not competition.starts_on <= competition_class.date <= competition.ends_on:
        problems.append(
            (
                "date",
                f"The competition runs from {competition.starts_on} to {competition.ends_on}. Give a day within it.",
            )
        )
    if not 60 <= competition_class.interval_seconds <= 7200:
        problems.append(("interval_seconds", "The interval between rides must be from 1 to 120 minutes."))
    problems += _break_problems(competition_class.breaks)
    if problems:
        raise InvalidInput("Some fields need correcting.", problems=problems)


def _break_problems(breaks: object) -> list[tuple[str, str]]:
    sentence = 'A break is given as {"after": 8, "minutes": 15}: after which ride, and how long (1 to 600 minutes).'
    if not isinstance(breaks, list):
        return [("breaks", sentence)]
    problems = []
    for index, pause in enumerate(breaks):
        good = (
            isinstance(pause, dict)
            and set(pause) == {"after", "minutes"}
            and all(isinstance(value, int) and not isinstance(value, bool) for value in pause.values())
            and pause["after"] >= 1
            and 1 <= pause["minutes"] <= 600
        )
        if not good:
            problems.append((f"breaks[{index}]", sentence))
    return problems


def _refuse_bad_panel(competition_class: CompetitionClass, panel: Sequence[Mapping[str, Any]]) -> None:
    problems = []
    letters = [str(member.get("seat", "")).strip() for member in panel]
    if not 1 <= len(panel) <= _MOST_SEATS:
        problems.append(("panel", f"A panel has 1 to {_MOST_SEATS} seats; {len(panel)} are given."))
    for index, letter in enumerate(letters):
        if not letter or len(letter) > 10:
            problems.append((f"panel[{index}].seat", "Give the seat its letter, such as C."))
        elif fault := number_fault(letter, what="a seat"):
            problems.append((f"panel[{index}].seat", fault))
        elif letter in letters[:index]:
            problems.append((f"panel[{index}].seat", f"Seat {letter} stands twice. Each seat is named once."))
    parts = {item.part for item in test_of(competition_class).items}
    for index, member in enumerate(panel):
        unknown = set(member.get("parts") or ()) - parts
        if unknown:
            problems.append((f"panel[{index}].parts", f"The test has no part {', '.join(sorted(unknown))}."))
    judges = [member["judge"].pk for member in panel if member.get("judge")]
    if len(judges) != len(set(judges)):
        problems.append(("panel", "One judge sits at two seats. A judge has one seat in a class."))
    if problems:
        raise InvalidInput("The panel needs correcting.", problems=problems)


def _store_panel(competition_class: CompetitionClass, panel: Sequence[Mapping[str, Any]]) -> None:
    kept = {seat.seat: seat for seat in competition_class.seats.all()}
    wanted = [str(member["seat"]).strip() for member in panel]
    for letter, seat in kept.items():
        if letter in wanted:
            continue
        if seat.sheets.exists():
            raise NotAllowed(f"Seat {letter} has sheets and stays on the panel.", code="seat-has-sheets")
        seat.delete()
    for order, member in enumerate(panel):
        PanelSeat.objects.update_or_create(
            competition_class=competition_class,
            seat=wanted[order],
            defaults={"order": order, "judge": member.get("judge"), "parts": list(member.get("parts") or ())},
        )


def _has_sheets(competition_class: CompetitionClass) -> bool:
    return PanelSeat.objects.filter(competition_class=competition_class, sheets__isnull=False).exists()
