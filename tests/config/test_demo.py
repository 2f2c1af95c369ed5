from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from contextlib import suppress
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import OperationalError
from openpyxl import load_workbook
from pypdf import PdfReader

from competitions import policy
from competitions.models import Championship, Competition, CompetitionClass, Entry, EntryChange, Sheet, SheetRevision
from competitions.selectors.championships import ChampionshipView, championship_for
from competitions.selectors.keyings import keyings_of_class
from competitions.services import results
from competitions.services.differences import findings_of
from competitions.services.entries import set_outcome
from config.demonstration import documents, scenario
from config.demonstration.accounts import give_passwords
from config.demonstration.other_shows import SOURCE
from config.demonstration.scenario import load, loaded_scenario
from config.demonstration.state import State, state_of_database
from config.management.commands import demo
from reports.models import Job
from riders.models import NameDecision, SchemeDraft, Score, ScoreChange, User, WaitingImport
from riders.selectors.seasons import standings_tables
from riders.services.scheme_effects import effect_of
from tests.builders import make_competition, make_user

ROOT = Path(__file__).resolve().parents[2]


def quiet(_: str) -> None:
    """Take what is said."""


def run(**options: object) -> str:
    out = StringIO()
    call_command("demo", stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, object]]:
    """Let the command end where it would serve, and note how it would."""
    calls: list[dict[str, object]] = []
    real = call_command

    def stop(name: str, *args: object, **options: object) -> None:
        if name == "serve":
            calls.append(options)
        else:
            real(name, *args, **options)

    monkeypatch.setattr(demo, "call_command", stop)
    return calls


def passwords_in(said: str) -> dict[str, str]:
    return dict(re.findall(r"^(\w+) +((?:[a-z2-9]{4}-){3}[a-z2-9]{4}) ", said, re.MULTILINE))


@pytest.mark.django_db
class TestLoading:
    def test_the_show_is_as_the_fixtures_say(self):
        found = load(say=quiet)
        show = found.competition
        states = dict(show.classes.values_list("number", "results_state"))
        assert states == dict.fromkeys("12345789", "official") | {"6": "provisional", "10": "provisional"}
        assert found.running_class.in_ring.number == "32"
        assert not any(found.running_class.published.all())
        total = {
            (entry.competition_class.number, entry.number): (entry.result.placing, entry.result.total)
            for entry in Entry.objects.filter(result__isnull=False).select_related("competition_class", "result")
        }
        assert (total["1", "26"], total["1", "46"]) == ((4, "67.200"), (5, "67.200"))
        assert (total["2", "3"], total["2", "16"]) == ((3, "67.321"), (3, "67.321"))
        assert (total["5", "52"], total["5", "27"]) == ((3, "67.735"), (4, "67.735"))
        assert (total["5", "8"], total["5", "45"]) == ((5, "65.676"), (5, "65.676"))
        assert total["2", "25"] == (5, "66.964")
        assert total["5", "19"][1] == "57.147"
        assert Entry.objects.get(competition_class__number="3", number="9").status == "retired"
        teams = show.classes.get(number="3").published.get().document["teams"]
        assert [(team["team"], team["value"]) for team in teams] == [
            ("Elmbeck", "204.222"),
            ("Stonereach", "202.444"),
            ("North Quay", "190.222"),
        ]

    def test_every_special_case_is_where_the_fixtures_say(self):
        """One load for all of them, because loading is what takes the time."""
        show = load(say=quiet).competition
        check_eventing(rows_of(show, "7"))
        check_young_horses(rows_of(show, "8"))
        check_freestyle(rows_of(show, "9"))
        check_championship(championship_for(show.championships.get(slug="elementary")))
        check_findings(show)
        check_second_keyings(show)
        check_signatures()
        assert Entry.objects.get(competition_class__number="7", number="10").status_reason.startswith("left the arena")
        assert Entry.objects.get(competition_class__number="9", number="22").status_reason.startswith("the music")

    def test_the_ledger_and_the_standings_follow(self):
        found = load(say=quiet)
        assert Score.objects.filter(source="import").count() == 352 + 104 + 11
        assert Score.objects.filter(source="class").count() == 12 + 14 + 14 + 14 + 10 + 11 + 9 + 11 + 9 + 8
        assert set(Score.objects.filter(source="class").values_list("kind", flat=True)) == {
            "set", "freestyle", "quality", "eventing",
        }  # fmt: skip
        tables = standings_tables(found.season)
        qualified = {row.pair.key for table in tables for row in table.rows if row.qualified and row.pair}
        assert {"R1007-H2015", "R1007-H2016"} & qualified or qualified
        assert sum(len(table.rows) for table in tables) == found.season.rows.count() > 40

    def test_a_full_season_is_counted_by_three_rules_and_its_scores_came_in_three_ways(self):
        found = load(say=quiet)
        inside = Score.objects.filter(date__range=("2025-10-01", "2026-09-30"))
        assert inside.values("competition").distinct().count() == 16
        assert set(inside.filter(source="class").values_list("competition", flat=True)) == {"mirefell-2026-09"}
        asked = inside.get(key="saltholm-2026-08/N/1")
        assert (asked.pair.key, asked.pair.rider.name) == ("R1093-H2020", "Katarzyna Żurawska")
        assert not inside.filter(key="saltholm-2026-08/E/1-late").exists()
        assert NameDecision.objects.filter(source=SOURCE, spelling="Hanna Otsuka").get().rider.name == "Hanna Otsuka"
        assert WaitingImport.objects.get(confirmed_at__isnull=True).file_name == "waiting-2026-11.csv"
        year = {season.slug: season for season in found.association.seasons.filter(starts_on="2025-10-01")}
        modes = {slug: season.scheme.document["mode"] for slug, season in year.items()}
        assert modes == {"2026": "rank", "2026-points": "rank", "2026-feathers": "achieve"}
        rows = {
            (slug, table.group.get("level"), row.unit): row
            for slug, season in year.items()
            for table in standings_tables(season)
            for row in table.rows
        }
        points = rows["2026-points", "novice", "R1090-H2038"]
        assert (points.value, points.qualified) == ("32.0", True)  # 5 + 8 + (5 + 1) + (6 + 1) + (5 + 1) points
        shared = {row.value for (slug, _, _), row in rows.items() if slug == "2026-points" and row.shared}
        assert shared == {"32.0", "23.0"}
        tiers = {row.tier for (slug, _, _), row in rows.items() if slug == "2026-feathers"}
        assert tiers == {"three feathers", "two feathers", "one feather", ""}
        assert not rows["2026", "medium", "R1044-H2019"].qualified  # three scores of four

    def test_loading_again_changes_nothing(self):
        load(say=quiet)
        before = _counts()
        found = load(say=quiet)
        assert _counts() == before
        draft = SchemeDraft.objects.select_related("based_on").get()
        assert draft.based_on is not None
        assert (found.season.scheme.version, draft.based_on.version) == (1, 2)
        assert effect_of(draft.document, found.season).counts["falls"] > 0

    def test_a_load_that_was_cut_off_is_finished_by_the_next(self, monkeypatch, served):
        def cut(*_: object, **__: object) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr(scenario, "make_official", cut)
        with pytest.raises(KeyboardInterrupt):
            load(say=quiet)
        assert state_of_database() is State.LOADING
        monkeypatch.setattr(scenario, "make_official", results.make_official)
        run()
        assert state_of_database() is State.LOADED
        assert CompetitionClass.objects.filter(results_state="official").count() == 8 + 2

    def test_every_role_may_do_its_part_and_no_more(self):
        found = load(say=quiet)
        users = {user.username: user for user in User.objects.all()}
        sheet = Sheet.objects.get(entry=found.running_class.in_ring, seat=found.judged_seat)
        own = Sheet.objects.filter(entry__pair__rider=found.rider, entry__competition_class__number="5").first()
        assert len(found.pairs) == 3
        assert policy.can(users["office"], "run", found.competition)
        assert policy.can(users["judge"], "mark", found.judged_seat)
        assert policy.can(users["judge"], "view-sheets", sheet)
        assert policy.can(users["rider"], "view-sheets", own)
        assert not policy.can(users["rider"], "view-sheets", sheet)
        assert not policy.can(users["association"], "run", found.competition)
        assert [user.username for user in users.values() if user.is_staff] == ["staff"]
        assert not any(user.is_superuser for user in users.values())

    def test_every_account_reaches_the_page_it_starts_at_with_a_password_only(self, client):
        accounts = load(say=quiet).accounts()
        assert not any(user.has_usable_password() for user in User.objects.all())
        passwords = give_passwords(accounts)
        for account in accounts:
            assert client.login(username=account.username, password=passwords[account.username])
            assert client.get(account.path).status_code == 200


def rows_of(competition: Competition, number: str) -> dict[str, dict[str, Any]]:
    """Return the official results of a class by entry number, in the order of the list."""
    return {row["number"]: row for row in competition.classes.get(number=number).published.get().document["entries"]}


def check_eventing(rows: dict[str, dict[str, Any]]) -> None:
    """Equal penalties are parted by the collective marks; 2 points for an error come off both sheets."""
    tied = [[rows[number][key] for key in ("placing", "penalty", "total", "collectives")] for number in ("50", "34")]
    assert tied == [[3, "32.8", "67.24", "83.5"], [4, "32.8", "67.23", "83"]]
    assert rows["50"]["tie"] == {"with": ["34"], "step": "collectives", "value": "83.5"}
    assert (rows["43"]["placing"], rows["43"]["penalty"]) == (5, "34.1")
    assert sum("1 error of course" in line for line in rows["43"]["working"]) == 2
    assert (rows["10"]["status"], rows["10"]["placing"]) == ("eliminated", None)


def check_young_horses(rows: dict[str, dict[str, Any]]) -> None:
    """C marks the technical part, B the quality; half a per cent for an error comes off the total."""
    assert list(rows) == ["16", "65", "64", "67", "12", "58", "66", "30", "7"]
    assert rows["16"]["parts"] == {"technical": "69.773", "quality": "76.800"}
    assert {seat: sheet["percentage"] for seat, sheet in rows["16"]["sheets"].items()} == {"C": "69.773", "B": "76.800"}
    assert rows["16"]["total"] == "73.287"
    assert [number for number, row in rows.items() if row["sheets"]["B"]["place"] == 1] == ["64"]
    assert (rows["7"]["placing"], rows["7"]["total"]) == (9, "65.564")


def check_freestyle(rows: dict[str, dict[str, Any]]) -> None:
    """Equal totals are parted by the artistic part; half a per cent for the time comes off that part."""
    tied = [
        (rows[number]["placing"], rows[number]["total"], rows[number]["parts"]["artistic"]) for number in ("40", "5")
    ]
    assert tied == [(3, "70.217", "74.183"), (4, "70.217", "70.600")]
    assert [(rows[number]["placing"], rows[number]["total"]) for number in ("29", "15")] == [
        (1, "71.625"),
        (2, "71.617"),
    ]
    assert (rows["47"]["placing"], rows["47"]["total"], rows["47"]["parts"]["artistic"]) == (10, "63.142", "66.450")
    assert rows["22"]["status"] == "withdrawn"


def check_championship(view: ChampionshipView) -> None:
    """The mean of classes 3 and 9; equal ones by the artistic part; who misses a class has no place."""
    rows = {row.unit: (row.placing, row.value) for row in view.rows}
    assert ([column.number for column in view.columns], view.official, len(rows)) == (["3", "9"], True, 14)
    assert rows["R1059-H2029"] == (1, "72.479")
    assert (rows["R1024-H2023"], rows["R1069-H2037"]) == ((6, "64.214"), (7, "64.214"))
    assert rows["R1007-H2015"] == (None, None)


def check_findings(show: Competition) -> None:
    """Three findings are decided, each with a reason of its own; six of the running class wait for the office."""
    found = {
        (current.number, finding.key): finding.decision and finding.decision.reason
        for current in show.classes.all()
        for finding in findings_of(current)
    }
    waiting = {place for place, reason in found.items() if reason is None}
    assert waiting == {
        *(("6", key) for key in ("marks/47/19", "unsigned/9/E", "unsigned/15/C")),
        *(("6", key) for key in ("keyings/22/C", "second-keying/47/C", "second-keying/47/E")),
    }
    assert set(found) - waiting == {("5", "percentages/27"), ("6", "marks/9/13"), ("9", "percentages/23")}
    assert len({reason for reason in found.values() if reason}) == 3


def check_second_keyings(show: Competition) -> None:
    """Of the sheets of class 6 one difference is decided, one is open, two sheets wait, the others are final."""
    found = {
        (keyings.entry.number, keyings.seat.seat): keyings for keyings in keyings_of_class(show.classes.get(number="6"))
    }
    states = {place: keyings.state for place, keyings in found.items()}
    assert len(states) == 16
    assert {place: state for place, state in states.items() if state != "final"} == {
        ("22", "C"): "differs", ("47", "C"): "waiting", ("47", "E"): "waiting",
    }  # fmt: skip
    (decided,) = found["18", "E"].decisions
    assert (decided.field, decided.first, decided.second, decided.value) == ("mark.7", "7.0", "1.0", "7.0")
    (left,) = found["22", "C"].differences
    assert (left.field, left.first, left.second) == ("mark.4", "6.0", "6.5")


def check_signatures() -> None:
    """Every finished sheet is signed, but for two of the running class."""
    unsigned = Sheet.objects.filter(signed=False).values_list("entry__number", "seat__seat")
    assert set(unsigned.exclude(entry__status="running")) == {("9", "E"), ("15", "C")}
    assert set(unsigned.filter(entry__status="running")) == {("32", "C"), ("32", "E")}


def _counts() -> tuple[int, ...]:
    models = (Championship, SheetRevision, EntryChange, ScoreChange, Score, Entry, User)
    versions = Competition.objects.values_list("classes__version", flat=True)
    return (*(model._default_manager.count() for model in models), *sorted(versions))


@pytest.mark.django_db
class TestCommand:
    def test_passwords_are_shown_once_work_and_stand_nowhere_in_plain_text(self, served):
        first = passwords_in(run())
        assert set(first) == {"office", "keyer", "judge", "rider", "association", "staff"}
        assert len(set(first.values())) == 6
        for username, password in first.items():
            assert authenticate(username=username, password=password)
            assert password not in User.objects.get(username=username).password
        second = passwords_in(run())
        assert not set(first.values()) & set(second.values())
        assert authenticate(username="office", password=first["office"]) is None
        assert authenticate(username="office", password=second["office"])

    def test_it_serves_where_it_is_told_and_prints_that_address(self, served):
        said = run(port=8123)
        assert served == [{"host": "127.0.0.1", "port": 8123}]
        assert "http://127.0.0.1:8123/desk/mirefell-2026-11/" in said

    def test_a_second_start_keeps_what_was_keyed(self, served):
        run()
        entry = Entry.objects.filter(competition_class__number="6", status="entered").first()
        set_outcome(entry, expected_version=None, by=None, status="withdrawn")
        make_competition("visitors-own")
        said = run()
        assert "kept as it is" in said
        entry.refresh_from_db()
        assert entry.status == "withdrawn"
        assert Competition.objects.count() == 2 + 1

    def test_anything_else_in_the_database_is_left_alone(self, served):
        make_user("somebody")
        make_competition()
        with pytest.raises(CommandError, match=r"something else than a demonstration \(1 account, 1 competition\)"):
            run()
        assert User.objects.count() == 1
        assert served == []

    def test_a_database_without_tables_is_told_how_to_make_them(self, served, monkeypatch):
        def missing():
            raise OperationalError("no such table: auth_group")

        monkeypatch.setattr(demo, "state_of_database", missing)
        with pytest.raises(CommandError, match="migrate"):
            call_command("demo")

    def test_a_show_that_was_removed_is_told_and_not_put_back_unasked(self, served):
        run()
        Sheet.objects.all().delete()
        CompetitionClass.objects.filter(number="6").delete()
        assert loaded_scenario() is None
        with pytest.raises(CommandError, match="--reset"):
            run()

    def test_fixtures_that_cannot_be_taken_in_are_named_row_by_row(self, served, monkeypatch, tmp_path):
        real = scenario._read
        bad = b"class,number,seat,item,mark\n1,10,C,1,10.3\n1,10,C,99,7\n"
        monkeypatch.setattr(scenario, "_read", lambda name: bad if name == "show/marks.csv" else real(name))
        with pytest.raises(CommandError) as refused:
            run()
        assert "row 2, mark: Mark 10.3 for movement 1 is not a step of 0.5." in str(refused.value)
        assert "row 3, item" in str(refused.value)
        assert not Sheet.objects.filter(entry__competition_class__competition__slug="mirefell-2026-11").exists()


@pytest.mark.django_db
class TestDocuments:
    def test_the_season_that_is_over_is_closed_by_its_keeper(self):
        found = load(say=quiet)
        season = found.association.seasons.get(slug="2026")
        assert season.closed_at is not None
        (change,) = season.changes.all()
        assert (change.action, change.by.username, change.edition.number) == ("closed", "association", 1)
        assert [table["title"] for table in change.edition.head["tables"]] == [
            "elementary", "introductory", "medium", "novice",
        ]  # fmt: skip
        load(say=quiet)
        assert season.editions.count() == 1

    def test_every_kind_is_asked_for(self):
        wanted = documents.wanted_documents(load(say=quiet))
        assert {request["kind"] for request in wanted} == {
            "results", "working", "running-order", "championship", "sheet", "sheets", "season-statement",
            "season-standings", "season-awards", "season-qualified", "season-certificates",
        }  # fmt: skip
        assert sum(request["kind"] == "results" for request in wanted) == 10

    @pytest.fixture
    def job(self) -> Job:
        return Job.objects.create(kind="results", target=1, target_version="1", key="k")

    def test_a_worker_that_ends_is_told(self, job):
        worker = subprocess.Popen([sys.executable, "-c", "raise SystemExit(3)"])
        worker.wait()
        with pytest.raises(documents.DocumentsNotMade, match=r"exit 3\) with 1 documents"):
            documents._wait_for([job.pk], worker, until=time.monotonic() + 60)

    def test_waiting_has_a_bound(self, job):
        worker = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
        with pytest.raises(documents.DocumentsNotMade, match="1 of 1 documents were not made in time"):
            documents._wait_for([job.pk], worker, until=time.monotonic() - 1)
        worker.communicate(b"\n")

    def test_a_document_that_failed_is_told_with_its_reason(self, job):
        Job.objects.update(state=Job.State.FAILED, message="The font is gone.")
        worker = subprocess.Popen([sys.executable, "-c", ""])
        worker.wait()
        with pytest.raises(documents.DocumentsNotMade, match="results 1: The font is gone"):
            documents._wait_for([job.pk], worker, until=time.monotonic() + 60)


def test_the_whole_demonstration_with_a_real_queue_and_worker(tmp_path):
    """On a database and a queue of its own: loaded, its documents made, listed, and ended; then once more, kept."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("MARKBOOK_")}
    environment |= {"MARKBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "config.settings"}

    def manage(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-W", "default", "manage.py", *arguments]
        return subprocess.run(
            command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=170, check=False
        )

    assert manage("migrate", "--verbosity", "0").returncode == 0
    done = manage("demo", "--once")
    assert done.returncode == 0, done.stdout + done.stderr
    ending = r"(?:pdf|xlsx|csv)"
    listed = re.findall(rf"^(\d+) +(\d+) +(.+\.{ending}) +(reports/\S+\.{ending})$", done.stdout, re.MULTILINE)
    assert len(listed) == 55 + 11  # and of the season that is closed: three lists as three kinds of file, certificates
    for pages, size, _, path in listed:
        content = (tmp_path / "files" / path).read_bytes()
        assert len(content) == int(size)
        assert parts_of(tmp_path / "files" / path) == int(pages)
    again = manage("demo", "--once")
    assert again.returncode == 0, again.stdout + again.stderr
    assert "kept as it is" in again.stdout
    assert passwords_in(again.stdout).keys() == passwords_in(done.stdout).keys()
    assert processes_of(tmp_path) == []


def parts_of(file: Path) -> int:
    """Return how many pages a PDF has, how many sheets a workbook, how many lines a CSV file."""
    if file.suffix == ".pdf":
        return len(PdfReader(file).pages)
    if file.suffix == ".xlsx":
        return len(load_workbook(file).sheetnames)
    return file.read_bytes().count(b"\r\n")


def processes_of(folder: Path) -> list[str]:
    """Return the processes that run on a data folder, where the system lists them."""
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        with suppress(OSError):
            if str(folder).encode() in path.read_bytes():
                found.append(path.parent.name)
    return found


@pytest.mark.django_db(transaction=True)
def test_a_reset_throws_everything_away_and_loads_anew(served):
    run()
    make_competition("visitors-own")
    said = run(reset=True)
    assert "thrown away" in said
    assert set(Competition.objects.values_list("slug", flat=True)) == {"mirefell-2026-11", "mirefell-2026-09"}
    assert CompetitionClass.objects.filter(results_state="official").count() == 8 + 2
    assert authenticate(username="office", password=passwords_in(said)["office"])


@pytest.mark.django_db
def test_a_reset_does_not_touch_what_is_no_demonstration(served):
    make_competition()
    with pytest.raises(CommandError, match="something else"):
        run(reset=True)
    assert Competition.objects.count() == 1
