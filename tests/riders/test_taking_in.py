"""Files of scores carried out while others write, and files that mean harm."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from riders import csvrows
from riders.errors import InvalidInput
from riders.models import Score, ScoreChange, StandingsRebuild
from riders.services import taking_in
from riders.services.direct_imports import ImportSummary, import_scores
from riders.services.ledger import ready_to_post
from riders.services.ledger_clock import ledger_mark
from riders.services.matching import decide_name, undo_decision
from riders.services.merges import merge, undo_merge
from riders.services.renames import rename
from tests.builders import make_pair, make_season, make_user

pytestmark = pytest.mark.django_db

NAMES = {1: "Ottilie Brandmair", 10: "Cassius Thorne"}
HEADER = "score_id,pair,rider,horse,level,date,competition,class,judges,percentage,status,hors_concours"


def line(n: int, percentage: str = "67.500", **cells: str) -> str:
    values = {
        "score_id": f"s{n}",
        "pair": f"P{n}",
        "rider": f"Rider {chr(65 + n) * 6}",
        "horse": f"Horse {chr(65 + n) * 6}",
        "level": "novice",
        "date": "2026-11-01",
        "competition": "spring",
        "class": "3",
        "judges": "Ann Orde;Bo Rask",
        "percentage": percentage,
        "status": "completed",
        "hors_concours": "false",
    } | cells
    return ",".join(values[name] for name in HEADER.split(","))


def file(*lines: str) -> bytes:
    return ("\n".join((HEADER, *lines)) + "\n").encode()


def test_every_column_is_kept_as_the_file_has_it_with_one_note_of_who_posted_it():
    keeper = make_user("keeper")
    import_scores(file(line(1), line(2, judges="", hors_concours="")), by=keeper, reason="sent by post")
    one, other = Score.objects.order_by("key")
    assert (one.judges, one.hors_concours, one.date, one.percentage) == (
        ["Ann Orde", "Bo Rask"],
        False,
        date(2026, 11, 1),
        "67.500",
    )
    assert (other.judges, other.hors_concours, other.placing, other.member) == ([], None, None, None)
    notes = ScoreChange.objects.order_by("pk").values_list("score", "action", "by", "reason", "before", "at")
    assert list(notes) == [(s.pk, "posted", keeper.pk, "sent by post", None, s.posted_at) for s in (one, other)]


@pytest.mark.parametrize("times", [1, 5], ids=["once", "again and again"])
def test_what_was_worked_out_before_the_lock_is_worked_out_again_where_the_ledger_moved(
    times: int, monkeypatch: pytest.MonkeyPatch
):
    others = [file(line(1, f"6{n}.000")) for n in range(times)]

    def moving(*args: Any) -> Any:
        if others:
            import_scores(others.pop(), by=None)
        return ready_to_post(*args)

    monkeypatch.setattr(taking_in, "ready_to_post", moving)
    assert import_scores(file(line(1), line(2)), by=None, reason="mine") == ImportSummary(1, 1, 0, 0)
    assert Score.objects.get(key="s1").percentage == "67.500"
    last = ScoreChange.objects.filter(score__key="s1").latest("pk")
    assert (last.action, last.reason) == ("corrected", "mine")
    assert last.before["percentage"].startswith("6")


def test_within_the_lock_as_many_statements_are_run_for_few_rows_as_for_many(
    monkeypatch: pytest.MonkeyPatch,
):
    """What writers wait for is the number of statements, and none of them names a row."""
    counted = []

    def counting(*args: Any, **how: Any) -> None:
        with CaptureQueriesContext(connection) as queries:
            carry_out(*args, **how)
        counted.append([query["sql"].split(" VALUES ")[0][:60] for query in queries])

    carry_out = taking_in._carry_out
    monkeypatch.setattr(taking_in, "_carry_out", counting)
    for number in (1, 10):
        rows = [
            line(number + n, pair=f"P{number}", rider=NAMES[number], horse=f"{NAMES[number]}s") for n in range(number)
        ]
        import_scores(file(*rows), by=None, rebuild=False)
        import_scores(file(*(row.replace("67.500", "60.000") for row in rows)), by=None, rebuild=False)
    new, corrected, many_new, many_corrected = counted
    assert (new, corrected) == (many_new, many_corrected)


def test_everything_that_a_file_is_compared_with_moves_the_mark():
    pair, other = make_pair(1), make_pair(2)
    marks = [ledger_mark()]

    def moved() -> bool:
        marks.append(ledger_mark())
        return marks[-1] != marks[-2]

    assert not moved()
    import_scores(file(line(1)), by=None)
    assert moved()
    import_scores(file(line(1, "60.000")), by=None)
    assert moved()
    decision = decide_name(source="", kind="rider", spelling="X", member=None, by=None)
    assert moved()
    undo_decision(decision, by=None)
    assert moved()
    rename(pair.rider, name="Una", before="Rider 1", by=None, reason="x")
    assert moved()
    other.rider.registration = ""
    other.rider.save()
    done = merge(pair.rider, other.rider, by=None, reason="one")
    assert moved()
    undo_merge(done, by=None, reason="two")
    assert moved()
    other.rider.registration = "R77"
    other.rider.save()
    assert moved()


def test_after_a_large_file_the_standings_follow_through_the_queue(monkeypatch: pytest.MonkeyPatch):
    season = make_season()
    monkeypatch.setattr(taking_in, "REBUILT_AT_ONCE", 1)
    import_scores(file(line(1)), by=None)
    assert not StandingsRebuild.objects.exists()
    version = season.version
    import_scores(file(line(2), line(3)), by=None)
    season.refresh_from_db()
    assert StandingsRebuild.objects.get().season == season
    assert season.version >= version
    assert Score.objects.count() == 3


_BOM = b"\xef\xbb\xbf"


@pytest.mark.parametrize(
    "content",
    [
        _BOM + file(line(1), line(2)),
        file(line(1), line(2)).replace(b"\n", b"\r\n"),
        file(line(1), line(2)).replace(b"\n", b"\r"),
        file(line(1)).replace(b"\n", b"\r\n") + line(2).encode() + b"\n",
        file(line(1).replace(";", "|"), line(2).replace(";", "|")).replace(b",", b";").replace(b"|", b";"),
        file(line(1), line(2)).replace(b",", b"\t"),
        file(line(1), "", ",,,,,,,,,,,", line(2)),
    ],
    ids=["byte order mark", "CRLF", "CR", "mixed line ends", "semicolons", "tabs", "empty rows"],
)
def test_files_as_programs_write_them_are_read(content: bytes):
    if b";judges" in content:  # a list inside a cell needs quotation marks where semicolons part the cells
        content = content.replace(b"Ann Orde;Bo Rask", b'"Ann Orde;Bo Rask"')
    assert import_scores(content, by=None).posted == 2


@pytest.mark.parametrize(
    ("content", "where"),
    [
        (file(line(1), line(2, competition="x" * 100_000)), ["row 3, competition"]),
        (file(line(1), line(2).replace("Rider", "Ri\x00der")), ["row 3, rider"]),
        (file(line(1)) + b"\xff\xfe\n", ["file"]),
        (file(line(1)).decode().encode("utf-16"), ["file"]),
        (file(line(1), '"' + line(2)), ["row 3"]),
        (file(line(1, "=1+1"), line(2, "@A1")), ["row 2, percentage", "row 3, percentage"]),
        (file(line(1)).replace(b"level", b"class", 1), ["row 1, class"]),
        (file(line(1)).replace(b"level", b"lvel", 1), ["row 1, lvel"]),
        (file(line(1), line(1)), ["row 3, score_id"]),
        (file(line(1, date="01.11.2026"), line(2, "")), ["row 2, date"]),
        (file(*(line(1) for _ in range(60))), ["file"]),
        (b"PK\x03\x04" + b"\x00" * 100, ["file"]),
        (b"{" * 100_000, ["row 1"]),
    ],
    ids=[
        "huge field", "NUL", "bytes that are no text", "wrong encoding", "open quotation", "formulas", "double header",
        "misspelt header", "the same score twice", "another day", "too many rows", "a workbook", "braces",
    ],
)  # fmt: skip
def test_a_hostile_file_is_refused_whole_with_every_problem_by_row(
    content: bytes, where: list[str], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(csvrows, "MOST_ROWS", 50)
    with pytest.raises(InvalidInput) as refused:
        import_scores(content, by=None)
    found = [place for place, _ in refused.value.problems]
    assert set(where) <= set(found)
    assert all(sentence.endswith(".") and len(sentence) < 700 for _, sentence in refused.value.problems)
    assert not Score.objects.exists()
    assert not ScoreChange.objects.exists()
