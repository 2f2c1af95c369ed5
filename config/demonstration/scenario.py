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
from competitions.models import Competition, CompetitionClass, PanelSeat
from competitions.services.classes import update_competition
from competitions.services.documents import save_rule_set, save_test
from competitions.services.entries import set_in_ring
from competitions.services.imports import import_competition, import_entries, import_marks, import_outcomes
from competitions.services.results import make_official, unfinished_entries
from config.demonstration.accounts import Account, give_roles, make_users
from config.demonstration.state import mark_loaded, mark_loading
from config.environment import ROOT
from riders.models import Association, Pair, Rider, Season, User
from riders.services.associations import import_association, import_members, save_scheme
from riders.services.ledger_import import import_scores
from riders.services.standings import rebuild_standings

FIXTURES = ROOT / "fixtures"
RUNNING_CLASS = "6"
FINDINGS_REASON = "The sheets were compared with the paper when the show was run."
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
            Account("judge", f"{judge}, judges class {RUNNING_CLASS} at {seat.seat}", reverse("me")),
            Account("rider", f"{self.rider.name}, rides {len(self.pairs)} horses", reverse("me")),
            Account("association", f"keeps the seasons of {association.title}", season),
            Account("staff", "may do everything", reverse("desk")),
        ]


def load(*, say: Say) -> Scenario:
    """Load and run the show, and give the accounts their roles; passwords are not given here."""
    group = mark_loading()
    users = make_users(group)
    _take_in_association(users["staff"], say=say)
    competition = _take_in_show(users["office"], say=say)
    scenario = Scenario(competition, Association.objects.get(slug=competition.association.slug))  # type: ignore[union-attr]
    give_roles(
        users,
        competition=competition,
        seat=scenario.judged_seat,
        rider=scenario.rider,
        association=scenario.association,
    )
    _run_show(scenario, users["office"], say=say)
    for season in scenario.association.seasons.all():
        rebuild_standings(season)
        say(f"Standings of {season.title}: {season.rows.count()} rows.")
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
        save_scheme(scoring.load_json(path.read_bytes()))
    say(f"Schemes: {len(schemes)}.")
    say(f"Association: {import_association(scoring.load_json(_read('season/association.json')), by=by)}.")
    say(f"Members: {import_members(_read('season/members.csv'), by=by)}.")
    for path in sorted((FIXTURES / "season").glob("scores-*.csv")):
        say(f"Scores of {path.name}: {import_scores(path.read_bytes(), by=by, rebuild=False)}.")


def _take_in_show(office: User, *, say: Say) -> Competition:
    tests = sorted((FIXTURES / "tests").glob("*.json"))
    for path in tests:
        save_test(scoring.load_json(path.read_bytes()))
    rule_sets = scoring.rule_sets()
    for document in rule_sets.values():
        save_rule_set(document)
    say(f"Tests: {len(tests)}; rule sets: {len(rule_sets)}.")
    imported = import_competition(scoring.load_json(_read("show/competition.json")), by=office)
    competition = imported.competition
    say(f"Competition and classes: {imported}.")
    say(f"Entries: {import_entries(competition, _read('show/entries.csv'), by=office)}.")
    say(f"Outcomes: {import_outcomes(competition, _read('show/outcomes.csv'), by=office)}.")
    say(f"Marks and remarks: {import_marks(competition, _read('show/marks.csv'), by=office)}.")
    return competition


def _run_show(scenario: Scenario, office: User, *, say: Say) -> None:
    competition = scenario.competition
    if competition.state == Competition.State.PLANNED:
        scenario.competition.refresh_from_db()
        update_competition(
            competition, expected_version=competition.version, by=office, state=Competition.State.PUBLISHED
        )
    for competition_class in competition.classes.order_by("date", "starts_at", "number"):
        if competition_class.number == RUNNING_CLASS or not competition_class.open_for_changes:
            continue
        published = make_official(competition_class, by=office, findings_reason=FINDINGS_REASON)
        say(f"Class {competition_class.number} is official: {len(published.document['entries'])} entries.")
    running = scenario.running_class
    if running.in_ring is None:
        set_in_ring(running, entry=running.entries.get(number=ENTRY_IN_RING), by=office)
    say(f"Class {running.number} is running: entry {ENTRY_IN_RING} in the ring, {_to_come(running)} to come.")


def _to_come(competition_class: CompetitionClass) -> int:
    return len(unfinished_entries(competition_class)) - 1


def _read(name: str) -> bytes:
    return Path(FIXTURES / name).read_bytes()
