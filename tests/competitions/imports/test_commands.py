from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from competitions.models import Competition, RuleSet, Sheet, Test
from competitions.services.results import make_official
from riders.models import Association, Membership, Scheme, Score
from tests.builders import (
    make_association,
    make_class,
    make_test_document,
    mark_sheet,
    qualifying_scheme,
    rules_document,
)

pytestmark = pytest.mark.django_db

SCORE = (
    "score_id,pair,rider,horse,date,competition,status\ns1,P1,Ottilie Brandmair,Quillon,2026-11-01,spring,completed\n"
)


def run(*arguments: str, **options: Any) -> str:
    out = io.StringIO()
    call_command(*arguments, stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def file(tmp_path: Path):
    def write(content: object) -> str:
        path = tmp_path / "file"
        path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
        return str(path)

    return write


def test_documents_and_ledgers_are_imported(file):
    assert "linden-novice-1" in run("import_test", file(make_test_document()))
    assert "house-rules" in run("import_rule_set", file(rules_document()))
    assert "version 1" in run("import_scheme", file(qualifying_scheme()))
    association = {"format": "association/1", "id": "linden", "title": "Linden", "seasons": []}
    assert "1 created" in run("import_association", file(association))
    assert "1 posted" in run("import_scores", file(SCORE), dry_run=True)
    assert not Score.objects.exists()
    assert "1 posted" in run("import_scores", file(SCORE))
    members = "association,member_number,kind,name,from\nlinden,1,person,Ottilie Brandmair,2026-10-01\n"
    assert "1 created" in run("import_members", file(members))
    show = {"format": "competition/1", "id": "show", "title": "Show", "venue": "V", "classes": []}
    assert "1 created" in run("import_competition", file(show | {"starts_on": "2026-11-14", "ends_on": "2026-11-14"}))
    for model in (Test, RuleSet, Scheme, Association, Membership, Score, Competition):
        assert model.objects.count() == 1


def test_a_show_is_imported_file_by_file(file):
    found = make_class()
    slug = found.competition.slug
    assert "2 created" in run("import_entries", slug, file("class,number,rider,horse\n1,1,A,X\n1,2,B,Y\n"))
    assert "1 changed" in run("import_outcomes", slug, file("class,number,status\n1,2,no-show\n"))
    assert "1 created" in run("import_marks", slug, file("class,number,seat,item,mark\n1,1,C,1,7\n"))
    text = "class,number,seat,item,mark\n1,1,C,1,8\n"
    with pytest.raises(CommandError, match="row 2, mark"):
        run("import_marks", slug, file(text))
    assert "1 changed" in run("import_marks", slug, file(text), replace=True, reason="judge's correction")
    assert Sheet.objects.get().revisions.last().reason == "judge's correction"
    document = json.loads(run("export", "class", slug, "1"))
    document["entries"][0]["sheets"]["C"]["marks"]["2"] = "6"
    assert "1 changed" in run("import_class", slug, "1", file(document))


def test_everything_is_exported_and_comes_in_again(file, tmp_path):
    found = make_class(entries=1)
    mark_sheet(found.entries.get())
    make_official(found, by=None, findings_reason="Looked at.")
    slug = found.competition.slug
    for what in ("competition", "entries", "marks", "outcomes"):
        output = str(tmp_path / what)
        assert run("export", what, slug, output=output) == ""
        command = (f"import_{what}", output) if what == "competition" else (f"import_{what}", slug, output)
        assert "0 created, 0 changed" in run(*command)
    assert json.loads(run("export", "results", slug, "1"))["entries"][0]["total"] == "65.000"
    for what, name in (("test", "linden-novice-1"), ("rule-set", "house-rules")):
        said = run(f"import_{what.replace('-', '_')}", file(json.loads(run("export", what, name))))
        assert name in said
    assert "0 posted, 0 corrected, 1 unchanged" in run("import_scores", file(run("export", "scores")))
    make_association()
    assert run("export", "members", "linden").startswith("association,member_number")
    assert json.loads(run("export", "association", "linden"))["id"] == "linden"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["import_test", "/no/such/file"], "cannot be read"),
        (["import_entries", "no-such-show", "-"], 'There is no competition "no-such-show". There are: linden-autumn.'),
        (["import_class", "linden-autumn", "9", "-"], 'has no class "9". It has: 1.'),
        (["export", "test", "none"], 'There is no test "none"'),
        (["export", "association", "none"], 'There is no association "none"'),
        (["export", "class", "linden-autumn"], "needs other names"),
    ],
)
def test_what_is_not_there_is_told(arguments, words, monkeypatch):
    make_class()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"")))
    with pytest.raises(CommandError, match=words.replace(".", r"\.")):
        run(*arguments)


def test_text_that_is_no_document_is_told_with_its_place(file):
    with pytest.raises(CommandError, match="line 1, column 2"):
        run("import_test", file("{format}"))
    with pytest.raises(CommandError, match='"items"'):
        run("import_test", file({"format": "test/1", "id": "x"}))
