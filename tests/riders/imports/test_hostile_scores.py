"""Files of scores as nobody should send them, by page, by API and by command: a sentence, or the very score."""

from __future__ import annotations

import csv
import io
import json
import threading
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from rest_framework.test import APIClient

import scoring.season
from competitions.services.results import make_official
from riders import csvrows
from riders.models import Association, Horse, Pair, Rider, Score, ScoreChange, User, WaitingImport
from riders.selectors.ledger import scores_csv, scores_in_force
from riders.services.direct_imports import import_scores
from riders.services.matching import decide_name
from riders.services.merges import merge, undo_merge
from riders.services.renames import rename
from riders.services.standings import compute_rows_exactly, rebuild_standings
from riders.services.waiting_imports import confirm_import, hand_in, preview_of
from tests.builders import make_association, make_class, make_pair, make_season, make_user, mark_sheet

pytestmark = pytest.mark.django_db

RIDE: dict[str, Any] = {
    "score_id": "s1", "pair": "P104", "rider": "Ottilie Brandmair", "horse": "Quillon", "level": "novice",
    "date": "2026-11-01", "competition": "spring", "class": "3", "judges": "Ann Orde;Bo Rask", "percentage": "67.500",
    "status": "completed", "collectives": "", "horse_age": "", "hors_concours": "false",
}  # fmt: skip


def as_csv(*rides: dict[str, Any]) -> bytes:
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, RIDE)
    writer.writeheader()
    writer.writerows({**RIDE, **ride} for ride in rides)
    return buffer.getvalue().encode()


def as_lines(*rides: dict[str, Any]) -> bytes:
    return "".join(json.dumps({**RIDE, **ride}) + "\n" for ride in rides).encode()


@pytest.fixture
def keeper() -> User:
    user = make_user("keeper")
    make_association(keeper=user)
    return user


def by_page(content: bytes, keeper: User, _: Path) -> list[str]:
    client = Client()
    client.force_login(keeper)
    answer = client.post("/ledger/imports/", {"file": SimpleUploadedFile("f", content)}, follow=True)
    assert answer.status_code in {200, 422}
    waiting = WaitingImport.objects.get()
    found = preview_of(waiting)
    if not found.problems:
        act = {"act": "confirm", "digest": waiting.digest, "state": waiting.state}
        assert client.post(f"/ledger/imports/{waiting.pk}/", act, follow=True).status_code == 200
    return [f"{where}: {sentence}" for where, sentence in found.problems]


def by_api(content: bytes, keeper: User, _: Path) -> list[str]:
    client = APIClient()
    client.force_authenticate(keeper)
    tried, done = (
        client.post(f"/api/v1/scores/{dry}", data=content, content_type="text/csv") for dry in ("?dry_run=true", "")
    )
    assert (tried.status_code, tried.content) == (done.status_code, done.content)
    assert done.status_code in {200, 400}
    fields = done.json().get("fields", {})
    return [f"{where}: {sentence}" for where, sentences in fields.items() for sentence in sentences]


def by_command(content: bytes, _: User, folder: Path) -> list[str]:
    file = folder / "scores"
    file.write_bytes(content)
    said = []
    for options in (["--dry-run"], []):
        try:
            call_command("import_scores", str(file), *options, stdout=io.StringIO())
        except CommandError as refused:
            said.append([line.strip() for line in str(refused).splitlines()[1:]])
        else:
            said.append([])
        assert options == [] or not Score.objects.exists()
    assert said[0] == said[1]
    return said[1]


WAYS = pytest.mark.parametrize("way", [by_page, by_api, by_command], ids=["page", "API", "command"])


@WAYS
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (as_csv({"percentage": "70.1234567890123456"}), "row 2, percentage"),
        (as_csv({"percentage": "70.123456789012345", "collectives": "123456789012.1234567890"}), "row 2, collectives"),
        (as_csv({"percentage": "\uff17\uff10.\uff15"}), "row 2, percentage"),
        (as_csv({"horse_age": "61"}), "row 2, horse_age: A horse of 61 years"),
        (as_csv({"horse_age": "32768"}), "row 2, horse_age: A horse of 32768 years"),
        (as_lines({"horse_age": 40_000}), "row 1, horse_age: A horse of 40000 years"),
        (as_lines({"percentage": "67.1"}, {"score_id": int("9" * 4000)}), "row 2, score_id"),
        (as_lines({"rider": int("9" * 4000)}), "row 1, rider"),
        (as_lines({"judges": ["Ann\x00Orde"]}), "row 1, judges"),
        (as_lines({"judges": ["A" * 3000]}), "row 1, judges"),
        (as_lines({"judges": [f"J{n}" for n in range(2000)]}), "row 1, judges"),
        (as_lines({"date": " "}), 'row 1, date: "date" is empty here'),
        (as_lines({"status": "\t"}), 'row 1, status: "status" is empty here'),
        (as_lines({"rider": " "}), 'row 1, rider: "rider" is empty here'),
        (as_lines({"pair": "\u200b"}), 'row 1, pair: "pair" is empty here'),
        (as_lines({}) + b'{"score_id": ', "row 2: The text is not JSON: Expecting value at column 14."),
        (b"{}\n" * 60, "file: The file has more than 50 rows."),
    ],
    ids=repr,
)  # fmt: skip
def test_what_no_ledger_keeps_is_told_by_row_and_column(
    content: bytes, said: str, way: Any, keeper: User, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(csvrows, "MOST_ROWS", 50)
    problems = way(content, keeper, tmp_path)
    assert any(problem.startswith(said) for problem in problems), problems
    assert all(problem.endswith(".") and len(problem) < 700 for problem in problems)
    assert not Score.objects.exists()
    assert not Pair.objects.exists()


@WAYS
@pytest.mark.parametrize("form", [as_csv, as_lines])
@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ({"percentage": "-0.0"}, {"percentage": "0.0"}),
        ({"percentage": "000000070.50"}, {"percentage": "70.50"}),
        ({"percentage": ".5"}, {"percentage": "0.5"}),
        ({"percentage": "100.0"}, {"percentage": "100.0"}),
        ({"competition": "Fru\u0308hling  am\nSee"}, {"competition": "Fr\u00fchling am See"}),
        ({"score_id": "\ufeffs\u200b1"}, {"key": "s1"}),
        ({"rider": "Ann\u202e \u2066Orde"}, {"pair__rider__name": "Ann Orde"}),
        ({"rider": "\u0646\u06cc\u200c\u0645"}, {"pair__rider__name": "\u0646\u06cc\u200c\u0645"}),
        ({"judges": "A;B\u200b;"}, {"judges": ["A", "B"]}),
        ({"date": "0001-01-01"}, {"date": date(1, 1, 1)}),
        ({"date": "9999-12-31"}, {"date": date(9999, 12, 31)}),
        ({"horse_age": "0"}, {"horse_age": 0}),
    ],
    ids=repr,
)
def test_both_forms_of_a_file_say_the_same_score(
    form: Any, given: dict[str, Any], kept: dict[str, Any], way: Any, keeper: User, tmp_path: Path
) -> None:
    make_season(Association.objects.get())
    assert way(form(given), keeper, tmp_path) == []
    assert Score.objects.values(*kept).get() == kept
    for other in (as_csv(given), as_lines(given), as_lines({**given, "judges": Score.objects.get().judges})):
        assert import_scores(other, by=None, source="").unchanged == 1
    assert ScoreChange.objects.count() == 1


def test_a_ledger_with_formulas_is_safe_to_open_and_reads_back_the_same_here_and_in_the_core() -> None:
    names = {"rider": "=1+1", "horse": "@A1", "pair": "'=P", "score_id": "-s", "competition": "+c", "class": "'tis"}
    import_scores(as_lines(names), by=None)
    text = "".join(scores_csv(scores_in_force()))
    (cells,) = list(csv.reader(io.StringIO(text)))[1:]
    assert not [cell for cell in cells if cell[:1] in {"=", "+", "-", "@"}]
    assert import_scores(text, by=None).unchanged == 1
    (score,) = scoring.season.read_scores(text)
    assert {name: score.value_of(name) for name in names} == names


def test_rides_of_many_years_are_taken_in_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("riders.services.taking_in.REBUILT_AT_ONCE", 2000)
    make_pair(1)
    season = make_season()
    known = {"pair": "R1/H1", "rider": "Rider 1", "horse": "Horse 1"}
    days = [date(2024, 1, 1) + timedelta(days=n) for n in range(1100)]
    rides = [
        {**known, "score_id": f"s{n}", "competition": f"c{n}", "date": day.isoformat()} for n, day in enumerate(days)
    ]
    assert import_scores(as_csv(*rides), by=None).posted == 1100
    assert season.rows.get().qualified


def test_a_season_between_two_days_of_a_file_is_not_touched() -> None:
    season = make_season()
    import_scores(as_csv({"date": "2025-01-01"}, {"date": "2028-01-01", "score_id": "s2"}), by=None)
    season.refresh_from_db()
    assert season.version == 0
    import_scores(as_csv({"date": "2026-10-01", "score_id": "s3"}, {"date": "2028-01-02", "score_id": "s4"}), by=None)
    season.refresh_from_db()
    assert season.version == 1


@pytest.mark.parametrize(("born", "age"), [(2026, 0), (2027, None)])
def test_a_wrong_year_of_birth_stops_neither_results_nor_standings(born: int, age: int | None) -> None:
    season = make_season()
    competition_class = make_class(entries=1)
    Horse.objects.update(born=born)
    mark_sheet(competition_class.entries.get())
    competition_class.refresh_from_db()
    make_official(competition_class, by=None)
    assert Score.objects.get().horse_age == age
    assert len(compute_rows_exactly(season, scoring.season.read_scheme(season.scheme.document))) == 1
    rebuild_standings(season)


def test_a_name_before_a_rename_and_a_merge_still_means_who_stayed() -> None:
    pair = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    Rider.objects.update(registration="")
    ride = {"pair": pair.key}
    import_scores(as_csv(ride), by=None)
    rename(pair.rider, name="Ottilie Lind", before="Ottilie Brandmair", by=None, reason="married")
    other, third = Rider.objects.create(name="O. Lind"), Rider.objects.create(name="Tilly")
    first = merge(other, Rider.objects.get(pk=pair.rider_id), by=None, reason="one")
    second = merge(third, other, by=None, reason="one")
    for spelling in ("Ottilie Brandmair", "Ottilie Lind", "O. Lind", "Tilly"):
        assert import_scores(as_csv({**ride, "rider": spelling}), by=None, source="elsewhere").unchanged == 1
    undo_merge(second, by=None, reason="two")
    undo_merge(first, by=None, reason="two")
    assert import_scores(as_csv(ride), by=None, source="elsewhere").unchanged == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("known", [True, False], ids=["known pair", "new pair"])
@pytest.mark.parametrize("confirmed", [True, False], ids=["confirmed", "direct"])
def test_the_same_file_at_once_is_taken_in_once(known: bool, confirmed: bool) -> None:
    make_season()
    if known:
        rider, horse = Rider.objects.create(name=RIDE["rider"]), Horse.objects.create(name=RIDE["horse"])
        Pair.objects.create(key="P104", rider=rider, horse=horse)
    decide_name(source="", kind="rider", spelling="Nobody", member=None, by=None)
    files = [hand_in(as_csv({}), by=None) for _ in range(4)]
    start = threading.Barrier(len(files))
    said: list[str] = []

    def take(waiting: WaitingImport) -> None:
        try:
            start.wait(timeout=20)
            if confirmed:
                done = confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)
                said.append(f"{done.summary['posted']} posted")
            else:
                said.append(str(import_scores(as_csv({}), by=None))[:8])
        except Exception as error:  # noqa: BLE001 - what came of each thread is compared below
            said.append(type(error).__name__)
        finally:
            connection.close()

    threads = [threading.Thread(target=take, args=(waiting,)) for waiting in files]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == sorted(["1 posted", *["Conflict" if confirmed else "0 posted"] * 3])
    assert list(ScoreChange.objects.values_list("action", flat=True)) == ["posted"]
    assert (Pair.objects.count(), Rider.objects.count(), Horse.objects.count()) == (1, 1, 1)
