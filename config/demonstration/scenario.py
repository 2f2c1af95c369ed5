"""The show of ``fixtures/``, taken in by the importers and run by the services, as an office would do it.

Every step may be done again: an import that finds the same says so, and a class that is official stays official. So a
load that was cut off is finished by the next one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.urls import reverse

import scoring
from competitions.models import Championship, Competition, CompetitionClass, PanelSeat
from competitions.selectors.documents import items_of_seat, test_of
from competitions.selectors.keyings import keyings_of_sheet, read_from_sheet
from competitions.services.championships import create_championship
from competitions.services.classes import update_competition
from competitions.services.differences import decide_finding, findings_of
from competitions.services.documents import save_rule_set, save_test
from competitions.services.entries import set_in_ring
from competitions.services.imports import import_competition, import_entries, import_marks, import_outcomes
from competitions.services.keyings import Settlement, key_again, settle_differences
from competitions.services.results import make_official, unfinished_entries
from config.demonstration.accounts import Account, give_roles, make_users
from config.demonstration.drafts import leave_a_rule_half_written
from config.demonstration.films import send_films, stamp_sheets
from config.demonstration.other_shows import leave_a_file_waiting, take_in_scores, take_in_visiting_show
from config.demonstration.state import mark_loaded, mark_loading
from config.demonstration.year_end import close_past_season
from config.environment import ROOT
from riders.csvrows import read_rows
from riders.intake import Problems, refuse
from riders.models import Association, Pair, Rider, Season, User
from riders.services.associations import import_association, import_members
from riders.services.scheme_versions import save_scheme
from riders.services.standings import rebuild_standings

FIXTURES = ROOT / "fixtures"
RUNNING_CLASS = "6"
RECORDED_CLASS = "10"
ENTRY_IN_RING = "32"
JUDGED_SEAT = "C"
RIDER = "R1007"
SEASON = "2027"

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Scenario:
    """What was loaded, for those who go on from there."""

    competition: Competition
    association: Association

    @property
    def running_class(self) -> CompetitionClass:
        return self.competition.classes.get(number=RUNNING_CLASS)

    @property
    def judged_seat(self) -> PanelSeat:
        return self.running_class.seats.select_related("judge").get(seat=JUDGED_SEAT)

    @property
    def rider(self) -> Rider:
        return Rider.objects.get(registration=RIDER)

    @property
    def pairs(self) -> list[Pair]:
        return list(self.rider.pairs.select_related("horse").order_by("pk"))

    @property
    def season(self) -> Season:
        return self.association.seasons.get(slug=SEASON)

    def accounts(self) -> list[Account]:
        show, seat, association = self.competition, self.judged_seat, self.association
        judge = seat.judge.name if seat.judge else "nobody"
        desk = reverse("desk-competition", args=[show.slug])
        season = reverse("season", args=[association.slug, SEASON])
        return [
            Account("office", f"works in the show office of {show.title}", desk),
            Account("keyer", "works there too, keys sheets a second time", f"{desk}{RUNNING_CLASS}/office/keyings/"),
            Account(
                "judge",
                f"{judge}, judges class {RUNNING_CLASS} at {seat.seat}, and {RECORDED_CLASS} from recordings",
                reverse("table"),
            ),
            Account("rider", f"{self.rider.name}, rides {len(self.pairs)} horses", reverse("me")),
            Account("association", f"keeps the seasons of {association.title}", season),
            Account("staff", "may do everything", reverse("desk")),
        ]


def load(*, say: Say) -> Scenario:
    """Load and run the show, and give the accounts their roles; passwords are not given here."""
    group = mark_loading()
    users = make_users(group)
    _take_in_association(users["staff"], say=say)
    take_in_scores(FIXTURES / "season", by=users["association"], say=say)
    _take_in_rules(say=say)
    _make_all_official(_take_in_show("late-show", users["office"], say=say), users["office"], say=say)
    competition = _take_in_show("show", users["office"], say=say)
    scenario = Scenario(competition, Association.objects.get(slug=competition.association.slug))  # type: ignore[union-attr]
    give_roles(
        users,
        competition=competition,
        seat=scenario.judged_seat,
        rider=scenario.rider,
        association=scenario.association,
    )
    _key_twice(competition, users["keyer"], say=say)
    take_in_visiting_show(FIXTURES / "season", by=users["association"], say=say)
    leave_a_file_waiting(FIXTURES / "season", by=users["association"], say=say)
    _run_show(scenario, users["office"], say=say)
    leave_a_rule_half_written(scenario.season, by=users["association"], say=say)
    for season in scenario.association.seasons.filter(closed_at__isnull=True):
        rebuild_standings(season)
        say(f"Standings of {season.title}: {season.rows.count()} rows.")
    say(close_past_season(scenario.association, by=users["association"]))
    mark_loaded(group)
    return scenario


def loaded_scenario() -> Scenario | None:
    """Return the scenario that is in the database, or None where someone has removed a part of it."""
    document = scoring.load_json(_read("show/competition.json"))
    competition = Competition.objects.select_related("association").filter(slug=document["id"]).first()  # type: ignore[index]
    if competition is None or competition.association is None:
        return None
    found = Scenario(competition, competition.association)
    try:
        found.accounts()
    except (CompetitionClass.DoesNotExist, PanelSeat.DoesNotExist, Rider.DoesNotExist):
        return None
    return found


def _take_in_association(by: User, *, say: Say) -> None:
    schemes = sorted((FIXTURES / "schemes").glob("*.json"))
    for path in schemes:
        save_scheme(scoring.load_json(path.read_bytes()), by=by)
    say(f"Schemes: {len(schemes)}.")
    say(f"Association: {import_association(scoring.load_json(_read('season/association.json')), by=by)}.")
    say(f"Members: {import_members(_read('season/members.csv'), by=by)}.")


def _take_in_rules(*, say: Say) -> None:
    tests = sorted((FIXTURES / "tests").glob("*.json"))
    for path in tests:
        save_test(scoring.load_json(path.read_bytes()))
    rule_sets = scoring.rule_sets()
    for document in rule_sets.values():
        save_rule_set(document)
    say(f"Tests: {len(tests)}; rule sets: {len(rule_sets)}.")


def _take_in_show(folder: str, office: User, *, say: Say) -> Competition:
    imported = import_competition(scoring.load_json(_read(f"{folder}/competition.json")), by=office)
    competition = imported.competition
    say(f"{competition.title}, competition and classes: {imported}.")
    say(f"Entries: {import_entries(competition, _read(f'{folder}/entries.csv'), by=office)}.")
    say(f"Recordings: {send_films(competition, FIXTURES / 'films' / 'ride.webm', by=office)} sent.")
    say(f"Outcomes: {import_outcomes(competition, _read(f'{folder}/outcomes.csv'), by=office)}.")
    say(f"Marks, remarks and signatures: {import_marks(competition, _read(f'{folder}/marks.csv'), by=office)}.")
    say(f"Moments of the recordings: {stamp_sheets(competition, by=office)} sheets.")
    for path in sorted((FIXTURES / folder).glob("championship-*.json")):
        _set_up_championship(competition, path.read_bytes(), by=office, say=say)
    return competition


def _set_up_championship(competition: Competition, content: bytes, *, by: User, say: Say) -> None:
    """Set up a championship; the file is a ``championship/1`` with the numbers of its classes in place of results."""
    rules = scoring.load_json(content)
    assert isinstance(rules, dict)  # noqa: S101 - a file of our own
    slug, title, numbers = rules.pop("id"), rules.pop("title"), rules.pop("classes")
    if not Championship.objects.filter(competition=competition, slug=slug).exists():
        classes = [competition.classes.get(number=number) for number in numbers]
        create_championship(competition, slug=slug, title=title, rules=rules, classes=classes, by=by)
        say(f"{title}: classes {' and '.join(numbers)}.")


def _key_twice(competition: Competition, by: User, *, say: Say) -> None:
    """Key the sheets of ``second-keyings.csv`` again: as they stand, but for what the file says was read otherwise."""
    problems: Problems = []
    columns = ("class", "number", "seat", "field", "read", "value", "reason")
    rows = list(read_rows(_read("show/second-keyings.csv"), columns=columns, required=set(columns), problems=problems))
    refuse(problems, what="the second keyings")
    of_sheet: dict[tuple[str, str, str], dict[str, tuple[str, str, str]]] = {}
    for row in rows:
        fields = of_sheet.setdefault((row.raw("class"), row.raw("number"), row.raw("seat")), {})
        if row.raw("field"):
            fields[row.raw("field")] = (row.raw("read"), row.raw("value"), row.text("reason", most=300))
    states = [_key_one_twice(competition, place, fields, by=by) for place, fields in of_sheet.items()]
    say(f"Sheets keyed twice: {states.count('final')} final, {states.count('differs')} open.")


def _key_one_twice(
    competition: Competition, place: tuple[str, str, str], fields: dict[str, tuple[str, str, str]], *, by: User
) -> str:
    found = competition.classes.select_related("competition", "test").get(number=place[0])
    entry, seat = found.entries.get(number=place[1]), found.seats.get(seat=place[2])
    now = keyings_of_sheet(found, entry=entry, seat=seat)
    if now is None or now.keying is not None:  # a load before has done it
        return now.state if now else ""
    as_it_stands = read_from_sheet(now.sheet, entry, items_of_seat(test_of(found), seat))
    read = {name: as_it_stands[name] for name in now.labels} | {name: field[0] for name, field in fields.items()}
    done = key_again(entry=entry, seat=seat, read=read, by=by)
    decided = []
    for row in done.differences:
        _, value, reason = fields[row.field]
        if reason:
            decided.append(Settlement(field=row.field, value=value, reason=reason, first=row.first, second=row.second))
    settled = settle_differences(entry=entry, seat=seat, settlements=decided, by=by) if decided else done
    return settled.state if settled else ""


def _decide_findings(competition: Competition, *, by: User) -> int:
    """Let the findings stand that ``decisions.csv`` gives a reason for; the others wait for the office."""
    problems: Problems = []
    columns = ("class", "finding", "reason")
    rows = list(read_rows(_read("show/decisions.csv"), columns=columns, required=set(columns), problems=problems))
    refuse(problems, what="the decisions")
    decided = 0
    for row in rows:
        found = competition.classes.get(number=row.raw("class"))
        open_keys = {finding.key for finding in findings_of(found) if not finding.decided}
        if found.open_for_changes and row.raw("finding") in open_keys:
            decide_finding(found, row.raw("finding"), reason=row.text("reason", most=300), by=by)
            decided += 1
    return decided


def _make_all_official(competition: Competition, office: User, *, say: Say) -> None:
    """Publish a show that is over, and make its classes official."""
    _publish(competition, by=office)
    for competition_class in competition.classes.order_by("date", "starts_at", "number"):
        if competition_class.open_for_changes:
            make_official(competition_class, by=office)
    say(f"{competition.title} is over: {competition.classes.count()} classes are official.")


def _publish(competition: Competition, *, by: User) -> None:
    competition.refresh_from_db()
    if competition.state == Competition.State.PLANNED:
        update_competition(competition, expected_version=competition.version, by=by, state=Competition.State.PUBLISHED)


def _run_show(scenario: Scenario, office: User, *, say: Say) -> None:
    competition = scenario.competition
    _publish(competition, by=office)
    decided = _decide_findings(competition, by=office)
    say(f"Table of differences: {decided} decided with a reason.")
    for competition_class in competition.classes.order_by("date", "starts_at", "number"):
        if competition_class.number in {RUNNING_CLASS, RECORDED_CLASS} or not competition_class.open_for_changes:
            continue
        published = make_official(competition_class, by=office)
        say(f"Class {competition_class.number} is official: {len(published.document['entries'])} entries.")
    running = scenario.running_class
    if running.in_ring is None:
        set_in_ring(running, entry=running.entries.get(number=ENTRY_IN_RING), by=office)
    say(f"Class {running.number} is running: entry {ENTRY_IN_RING} in the ring, {_to_come(running)} to come.")


def _to_come(competition_class: CompetitionClass) -> int:
    return len(unfinished_entries(competition_class)) - 1


def _read(name: str) -> bytes:
    return Path(FIXTURES / name).read_bytes()
