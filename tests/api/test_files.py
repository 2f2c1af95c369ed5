from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from competitions.models import Competition
from riders.models import Membership, Score
from tests.api.conftest import World, assert_refusal


def rows_of(response: Any) -> list[dict[str, str]]:
    assert response.status_code == 200
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    text = b"".join(response.streaming_content).decode()
    return list(csv.DictReader(io.StringIO(text)))


def test_what_is_exported_can_be_imported(world: World) -> None:
    client, base = world.client("office"), f"/api/v1/competitions/{world.competition.slug}"
    for kind in ("entries", "marks", "outcomes"):
        exported = client.get(f"{base}/exports/{kind}/")
        assert f'filename="linden-autumn-{kind}.csv"' in exported["Content-Disposition"]
        text = b"".join(exported.streaming_content)
        imported = client.post(f"{base}/imports/{kind}/", data=text, content_type="text/csv")
        if kind == "entries":  # the class with official results is left as it is
            assert imported.status_code in {200, 400}
        else:
            assert imported.json()["changed"] == imported.json()["created"] == 0


def test_a_wrong_file_is_refused_whole_with_every_problem(world: World) -> None:
    text = "class,number,seat,item,mark,remark\n1,2,C,1,6.5,\n1,2,C,2,10.5,\n1,9,C,1,7,\n1,2,X,1,7,\n"
    response = world.client("office").post(
        f"/api/v1/competitions/{world.competition.slug}/imports/marks/", data=text, content_type="text/csv"
    )
    body = assert_refusal(response, 400)
    assert len(body["fields"]) == 3
    assert all(where.startswith("row ") for where in body["fields"])
    assert not world.open_class.entries.get(number="2").sheets.exists()


@pytest.mark.parametrize(("query", "status"), [("", 400), ("?replace=true&reason=paper+says+so", 200)])
def test_marks_that_differ_are_replaced_only_when_asked(world: World, query: str, status: int) -> None:
    response = world.client("office").post(
        f"/api/v1/competitions/{world.competition.slug}/imports/marks/{query}",
        data="class,number,seat,item,mark\n1,1,C,1,8\n",
        content_type="text/csv",
    )
    assert response.status_code == status
    world.sheet.refresh_from_db()
    assert world.sheet.marks["1"] == (80 if status == 200 else 65)


def test_a_competition_out_of_a_document(world: World) -> None:
    document = world.client("office").get(f"/api/v1/competitions/{world.competition.slug}/exports/competition/").json()
    again = world.client("office").post("/api/v1/imports/competition/", {"document": document}, format="json")
    assert (again.json()["created"], again.json()["changed"]) == (0, 0)
    copy = document | {"id": "linden-copy", "title": "Linden Copy"}
    assert_refusal(world.client("office").post("/api/v1/imports/competition/", {"document": copy}, format="json"), 403)
    made = world.client("staff").post("/api/v1/imports/competition/", {"document": copy}, format="json")
    assert made.status_code == 200
    assert Competition.objects.get(slug="linden-copy").classes.count() == 2


def test_members_of_another_association_are_not_imported(world: World) -> None:
    header = "association,member_number,kind,name,registration,from\n"
    address = f"/api/v1/associations/{world.association.slug}/members/"
    client = world.client("association")
    for cell in ("moor", '"moor"', " moor "):
        text = f"{header}linden,M1,person,Rider 1,R1,2026-01-01\n{cell},M2,person,Rider 2,R2,2026-01-01\n"
        assert_refusal(client.post(address, data=text, content_type="text/csv"), 403, "other-association")
    assert Membership.objects.count() == 0
    good = client.post(address, data=f"{header}linden,M1,person,Rider 1,R1,2026-01-01\n", content_type="text/csv")
    assert good.json() == {"created": 1, "changed": 0, "unchanged": 0}


def test_the_ledger_as_a_file_is_the_ledger_that_is_imported(world: World) -> None:
    for address, headers in (("/api/v1/scores/?format=csv", {}), ("/api/v1/scores/", {"Accept": "text/csv"})):
        rows = rows_of(world.client("visitor").get(address, headers=headers))
        assert [row["score_id"] for row in rows] == ["elsewhere/4/7", "linden-autumn/2/1", "linden-autumn/2/2"]
        assert rows[0]["percentage"] == "66.500"
    pair = world.score.pair_id
    rows = rows_of(world.client("visitor").get(f"/api/v1/scores/?format=csv&pair={pair}"))
    assert world.score.key in [row["score_id"] for row in rows]
    assert len(rows) < 3
    only = rows_of(world.client("visitor").get("/api/v1/scores/?format=csv&competition=elsewhere"))
    assert len(only) == 1
    text = b"".join(world.client("visitor").get("/api/v1/scores/?format=csv").streaming_content)
    again = world.client("association").post("/api/v1/scores/", data=text, content_type="text/csv")
    assert again.json() == {"posted": 0, "corrected": 0, "unchanged": 3, "duplicate": 0}


def test_imported_scores_move_the_standings(world: World) -> None:
    address = f"/api/v1/seasons/{world.season.pk}/standings/"
    visitor = world.client("visitor")
    before = visitor.get(address)
    assert visitor.get(address, headers={"If-None-Match": before["ETag"]}).status_code == 304
    text = (
        "score_id,pair,rider,horse,level,date,competition,class,percentage,status,hors_concours\n"
        "far/1/1,R2/H2,Rider 2,Horse 2,novice,2026-12-12,far,1,81.500,completed,false\n"
    )
    posted = world.client("association").post("/api/v1/scores/", data=text, content_type="text/csv")
    assert posted.json()["posted"] == 1
    after = visitor.get(address, headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200
    rows = after.json()["groups"][0]["rows"]
    assert [row["unit"] for row in rows if row["qualified"]] == ["R2/H2", "R1/H1"]
    # by hand: (81.500 + 60.000) / 2
    assert rows[0]["value"] == "70.750"
    assert Score.objects.filter(key="far/1/1").exists()


def test_a_statement_explains_every_score(world: World) -> None:
    response = world.client("rider").get(f"/api/v1/seasons/{world.season.pk}/statements/{world.entry.pair_id}/")
    statement = response.json()
    assert [score["score_id"] for score in statement["scores"]] == ["linden-autumn/2/1", "elsewhere/4/7"]
    assert all(score["outcome"] and score["sentence"].endswith(".") for score in statement["scores"])
    assert statement["rule"]
    # by hand: (70.000 + 66.500) / 2
    assert statement["rows"][0]["value"] == "68.250"


def test_an_outlook_is_a_document_of_its_own_with_an_estimate(world: World) -> None:
    response = world.client("rider").get(f"/api/v1/seasons/{world.season.pk}/outlooks/{world.entry.pair_id}/")
    found = response.json()
    assert found["season"] == "linden/2027"
    (one,) = found["outlooks"]
    document = one["outlook"]
    assert (document["format"], document["unit"]) == ("outlook/1", "R1/H1")
    assert (document["qualified"], document["value"]) == (True, "68.250")
    # by hand: one more score counts instead of the 66.500 if it is higher, which shows from (70 + 66.501) / 2
    assert document["next_score"][0] == {"from": "0.000", "to": "66.501", "value": "68.250"}
    assert one["chances"] == []


def test_a_pair_is_found_by_registration_and_made_once(world: World) -> None:
    client, address = world.client("office"), f"/api/v1/competitions/{world.competition.slug}/pairs/"
    known = {"rider": {"name": "Rider 1", "registration": "R1"}, "horse": {"name": "Horse 1", "registration": "H1"}}
    assert client.post(address, known, format="json").json()["id"] == world.entry.pair_id
    new = {"rider": {"name": "Una Lind"}, "horse": {"name": "Fen", "born": 2016, "owner": "Tove Ek"}}
    made = client.post(address, new, format="json").json()
    assert (made["rider"], made["horse"], made["owner"]) == ("Una Lind", "Fen", "Tove Ek")
    wrong = {"rider": {"name": "Somebody", "registration": "R1"}, "horse": {"name": "Horse 1", "registration": "H1"}}
    assert "belongs to the rider" in assert_refusal(client.post(address, wrong, format="json"), 400)["message"]
