from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from competitions.services.bundles import bundle_text
from competitions.services.results import make_official
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import Horse, Membership, NameDecision, Pair, Rider, Score, ScoreChange, WaitingImport
from riders.services.direct_imports import import_scores
from riders.services.ledger_preview import Preview, preview_import
from riders.services.waiting_imports import confirm_import, decide_names, hand_in, preview_of, take_away
from tests.builders import make_class, make_pair, make_season, mark_sheet

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,level,date,competition,class,test,judges,percentage,status,hors_concours"
GOOD = "s1,P104,Ottilie Brandmair,Quillon,novice,2026-11-01,spring,3,n-2,Ann Orde;Bo Rask,67.500,completed,false"


def scores(*rows: str) -> bytes:
    return ("\n".join((HEADER, *rows)) + "\n").encode()


def counts(preview: Preview) -> tuple[int, int, int, int]:
    found = preview.counts
    return found["posted"], found["corrected"], found["unchanged"], found["duplicate"]


def confirmed(waiting: WaitingImport) -> WaitingImport:
    return confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)


def snapshot() -> dict[str, list[dict[str, Any]]]:
    models = (Rider, Horse, Pair, Score, ScoreChange, NameDecision, Membership)
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in models}


def test_a_preview_says_what_would_be_done_and_does_nothing():
    import_scores(scores(GOOD, GOOD.replace("s1", "s2").replace(",3,", ",4,")), by=None)
    before = snapshot()
    preview = preview_import(
        scores(
            GOOD,
            GOOD.replace("s1", "s2").replace(",3,", ",4,").replace("67.500", "68.000"),
            GOOD.replace("s1", "s3").replace(",3,", ",5,"),
            GOOD.replace("s1", "s4").replace("67.500", "67.5"),
        )
    )
    assert counts(preview) == (1, 1, 1, 1)
    (corrected,), (posted,), (duplicate,) = (preview.of(what) for what in ("corrected", "posted", "duplicate"))
    assert corrected.differences == (("percentage", "67.500", "68.000"),)
    assert (posted.key, posted.where, posted.new_pair) == ("s3", "row 4", False)
    assert (duplicate.key, duplicate.same_as) == ("s4", "s1")
    assert preview.problems == ()
    assert snapshot() == before


def test_every_problem_is_told_by_row_and_nothing_can_be_confirmed():
    waiting = hand_in(scores(GOOD, GOOD.replace("s1", "s2").replace("67.500", "=A1"), "s3,x"), by=None)
    preview = preview_of(waiting)
    assert [where for where, _ in preview.problems] == ["row 3, percentage", "row 4"]
    assert len(preview.changes) == 1
    with pytest.raises(InvalidInput, match="2 problems were found"):
        confirmed(waiting)
    assert not Score.objects.exists()


def test_confirming_does_exactly_what_was_shown():
    season = make_season()
    waiting = hand_in(scores(GOOD, GOOD.replace("s1", "s2").replace("spring", "autumn")), source="north", by=None)
    done = confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)
    assert done.summary == {"posted": 2, "corrected": 0, "retracted": 0, "duplicate": 0, "unchanged": 0}
    assert (bytes(done.content), bytes(done.preview)) == (b"", b"")
    assert Score.objects.count() == 2
    assert season.rows.get().value == "67.500"
    assert {change.reason for change in ScoreChange.objects.all()} == {"imported from north"}
    with pytest.raises(NotAllowed, match="imported already"):
        confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)


def test_a_ledger_that_changed_meanwhile_is_worked_out_again():
    waiting = hand_in(scores(GOOD), by=None)
    import_scores(scores(GOOD.replace("67.500", "60.000")), by=None)
    shown = waiting.state
    with pytest.raises(Conflict, match="worked out again") as refused:
        confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)
    now = preview_of(refused.value.current)
    assert counts(now) == (0, 1, 0, 0)
    assert now.state != shown
    assert Score.objects.get().percentage == "60.000"
    confirm_import(waiting, digest=now.digest, state=now.state, by=None)
    assert Score.objects.get().percentage == "67.500"


def test_a_change_of_the_ledger_that_does_not_matter_disturbs_nobody():
    waiting = hand_in(scores(GOOD), by=None)
    import_scores(scores("z9,P9,Una Lind,Fen,novice,2026-11-01,far,1,n-2,,61.000,completed,false"), by=None)
    confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)
    assert Score.objects.filter(key="s1").exists()


def test_another_file_is_not_confirmed_with_this_ones_digest():
    waiting = hand_in(scores(GOOD), by=None)
    with pytest.raises(Conflict):
        confirm_import(waiting, digest="0" * 64, state=waiting.state, by=None)


def test_a_duplicate_is_left_out_and_so_is_one_inside_the_file():
    again = GOOD.replace("s1", "s2")
    waiting = hand_in(scores(GOOD, again), by=None)
    (change,) = preview_of(waiting).of("duplicate")
    assert (change.key, change.same_as) == ("s2", "row 2")
    confirm_import(waiting, digest=waiting.digest, state=waiting.state, by=None)
    assert list(Score.objects.values_list("key", flat=True)) == ["s1"]


@pytest.mark.parametrize(
    "other",
    [
        GOOD.replace("s1", "s2").replace(",3,", ",4,"),
        GOOD.replace("s1", "s2").replace("67.500", "67.501"),
        GOOD.replace("s1", "s2").replace("2026-11-01", "2026-11-02"),
        GOOD.replace("s1", "s2").replace("spring", "autumn"),
    ],
)
def test_another_ride_is_no_duplicate(other: str):
    assert counts(preview_import(scores(GOOD, other))) == (2, 0, 0, 0)


def test_without_a_class_the_test_tells_whether_it_is_the_same_ride():
    bare = GOOD.replace(",3,", ",,")
    assert counts(preview_import(scores(GOOD, bare.replace("s1", "s2")))) == (1, 0, 0, 1)
    assert counts(preview_import(scores(GOOD, bare.replace("s1", "s2").replace("n-2", "n-3")))) == (2, 0, 0, 0)
    assert counts(preview_import(scores(GOOD, bare.replace("s1", "s2").replace("n-2", "")))) == (2, 0, 0, 0)


def test_json_lines_say_the_same():
    row = dict(zip(HEADER.split(","), GOOD.split(","), strict=True)) | {"hors_concours": False}
    lines = "\n".join(json.dumps({**row, "score_id": key, "class": key}) for key in ("s1", "s2"))
    assert counts(preview_import(lines.encode())) == (2, 0, 0, 0)
    assert counts(preview_import(json.dumps(row).encode())) == (1, 0, 0, 0)


def official_bundle() -> tuple[bytes, str]:
    competition_class = make_class(entries=3)
    for entry in competition_class.entries.all():
        mark_sheet(entry, mark=60 + 5 * int(entry.number))
    make_official(competition_class, by=None)
    bundle = bundle_text(competition_class.competition).encode()
    return bundle, f"{competition_class.competition.slug}/1"


def forget_the_show() -> None:
    ScoreChange.objects.all().delete()
    Score.objects.all().delete()


def test_a_bundle_is_previewed_and_confirmed_and_leaves_nothing_behind_before():
    bundle, _ = official_bundle()
    forget_the_show()
    Score.objects.all().delete()
    before = snapshot()
    waiting = hand_in(bundle, source="linden", by=None)
    preview = preview_of(waiting)
    assert (preview.kind, counts(preview)) == ("bundle", (3, 0, 0, 0))
    assert snapshot() == before
    confirmed(waiting)
    assert Score.objects.count() == 3
    assert counts(preview_import(bundle, source="linden")) == (0, 0, 3, 0)


def test_to_preview_a_bundle_writes_nothing_so_that_nobody_waits():
    text, _ = official_bundle()
    forget_the_show()
    Score.objects.all().delete()
    with CaptureQueriesContext(connection) as queries:
        preview_import(text)
    assert {query["sql"].split()[0] for query in queries} == {"SELECT"}


def test_a_bundle_of_a_show_run_here_changes_nothing():
    bundle, _ = official_bundle()
    assert counts(preview_import(bundle)) == (0, 0, 3, 0)


def test_what_a_bundle_has_no_more_is_retracted():
    bundle, slug = official_bundle()
    forget_the_show()
    confirmed(hand_in(bundle, by=None))
    late = Score.objects.get(key=f"{slug}/1")
    Score.objects.filter(pk=late.pk).update(key=f"{slug}/77")
    preview = preview_import(bundle)
    assert [change.key for change in preview.of("retracted")] == [f"{slug}/77"]


def test_a_bundle_that_was_tampered_with_is_told():
    bundle, _ = official_bundle()
    forget_the_show()
    preview = preview_import(bundle.replace(b'"65.000"', b'"71.000"'))
    assert preview.problems
    assert preview.changes == ()


def test_a_file_that_is_taken_away_is_gone_and_a_confirmed_one_is_not():
    waiting = hand_in(scores(GOOD), by=None)
    take_away(waiting)
    assert not WaitingImport.objects.exists()
    done = confirmed(hand_in(scores(GOOD), by=None))
    with pytest.raises(NotAllowed):
        take_away(done)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b" \n ", "empty"),
        (b"x" * 20_000_001, "larger than 20 MB"),
    ],
)
def test_no_file_is_refused_at_once(content: bytes, said: str):
    with pytest.raises(InvalidInput, match=said):
        hand_in(content, by=None)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04 a workbook", "workbook"),
        ("score_id;Überraschung\n".encode("latin-1"), "not UTF-8"),
        (scores(GOOD).decode().encode("utf-16"), "not UTF-8"),
        (scores(GOOD.replace("Quillon", "Qui\x00llon")), "control character"),
        (scores(GOOD.replace("Quillon", "Q" * 1000)), "at most 120 are kept"),
        (scores(GOOD.replace("Ottilie Brandmair", "O" * 1000)), "at most 120 are kept"),
        (b'{"score_id": ', "JSON"),
        (b"{" * 100_000, "JSON"),
        (b'{"classes": []}', ""),
        (b'{"format": "bundle/1", "classes": "x"}', ""),
        (b'"', "quotation"),
    ],
)
def test_hostile_files_are_answered_with_sentences(content: bytes, said: str):
    preview = preview_of(hand_in(content, by=None))
    assert preview.problems
    assert all(sentence.endswith(".") for _, sentence in preview.problems)
    assert any(said in sentence for _, sentence in preview.problems)
    assert not Score.objects.exists()


def test_formula_like_cells_stay_the_text_they_are():
    row = GOOD.replace("Ottilie Brandmair", "\"=cmd|' /C calc'!A1\"").replace("Quillon", "@SUM(A1)")
    confirmed(hand_in(scores(row), by=None))
    assert Pair.objects.get().rider.name == "=cmd|' /C calc'!A1"
    assert Pair.objects.get().horse.name == "@SUM(A1)"


def test_names_that_are_like_known_ones_have_to_be_decided_first():
    known = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    waiting = hand_in(scores(GOOD, GOOD.replace("s1", "s2").replace(",3,", ",4,")), source="north", by=None)
    assert {(name.kind, name.spelling) for name in preview_of(waiting).to_decide} == {
        ("rider", "Ottilie Brandmair"),
        ("horse", "Quillon"),
    }
    with pytest.raises(InvalidInput, match="2 names are like known ones"):
        confirmed(waiting)
    decided = [("rider", "Ottilie Brandmair", known.rider), ("horse", "Quillon", known.horse)]
    waiting = decide_names(waiting, decided, by=None)
    assert preview_of(waiting).names == ()
    assert not any(change.new_pair for change in preview_of(waiting).changes)
    confirmed(waiting)
    assert set(Score.objects.values_list("pair", flat=True)) == {known.pk}
    again = hand_in(scores(GOOD.replace("s1", "s9").replace(",3,", ",9,")), source="north", by=None)
    assert preview_of(again).names == ()


def test_new_names_are_remembered_for_the_source_and_asked_about_elsewhere():
    confirmed(hand_in(scores(GOOD), source="north", by=None))
    rider = Rider.objects.get()
    other_horse = GOOD.replace("s1", "s2").replace("P104", "P105").replace("Quillon", "Marram")
    preview = preview_of(hand_in(scores(other_horse), source="north", by=None))
    assert [(name.kind, name.spelling) for name in preview.names] == [("horse", "Marram")]
    elsewhere = preview_of(hand_in(scores(other_horse), source="south", by=None))
    assert [proposal.id for name in elsewhere.to_decide for proposal in name.proposals] == [rider.pk]


def test_a_name_that_is_not_open_is_refused():
    waiting = hand_in(scores(GOOD), by=None)
    with pytest.raises(InvalidInput, match="no open name"):
        decide_names(waiting, [("rider", "Una Lind", None)], by=None)


def test_queries_do_not_grow_with_rows(django_assert_max_num_queries: Any):
    few = scores(*(GOOD.replace("s1", f"s{n}").replace(",3,", f",{n},") for n in range(10)))
    many = scores(*(GOOD.replace("s1", f"s{n}").replace(",3,", f",{n},") for n in range(400)))
    with django_assert_max_num_queries(20) as captured:
        preview_import(few)
    asked = len(captured)
    with django_assert_max_num_queries(asked):
        preview_import(many)
    assert connection.vendor in {"sqlite", "postgresql"}


def test_the_demonstration_season_is_previewed_and_imported():
    content = (Path(__file__).parents[2] / "fixtures/season/scores-2026.csv").read_bytes()
    waiting = hand_in(content, source="larkfield", by=None)
    preview = preview_of(waiting)
    assert preview.problems == ()
    rows = len(content.decode().splitlines()) - 1
    assert preview.counts["posted"] == rows
    confirmed(waiting)
    assert Score.objects.count() == rows
    assert preview_import(content, source="larkfield").counts["unchanged"] == rows
