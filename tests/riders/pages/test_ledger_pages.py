"""The pages on which a ledger is kept: who sees them, and each of their tasks from the first click to the last."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from competitions.services.results import make_official
from riders.models import Association, Horse, Membership, Merge, NameDecision, Pair, Rider, Score, User, WaitingImport
from riders.services.direct_imports import import_scores
from riders.services.ledger import post_scores
from riders.services.matching import decide_name
from riders.services.merges import merge
from riders.services.waiting_imports import hand_in
from riders.transactions import write_transaction
from tests.builders import make_association, make_class, make_pair, make_season, make_user, mark_sheet
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

HEADER = "score_id,pair,rider,horse,level,date,competition,class,percentage,status,hors_concours"
ROW = "s1,P104,Ottilie Brandmair,Quillon,novice,2026-11-01,spring,3,67.500,completed,false"
FILE = f"{HEADER}\n{ROW}\n"


@pytest.fixture
def association() -> Association:
    return make_association(keeper=make_user("keeper", first_name="Ida", last_name="Moss"))


@pytest.fixture
def keeper(client: Client, association: Association) -> Client:
    client.force_login(association.roles.get().user)
    return client


def ida() -> User:
    return User.objects.get(username="keeper")


def said(response: Any) -> str:
    return " ".join(response.content.decode().split())


def hidden(response: Any, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', response.content.decode())
    assert found, name
    return found[1]


def addresses() -> list[str]:
    import_scores(FILE, by=ida())
    pair = make_pair(1)
    held = Membership.objects.create(
        association=Association.objects.get(), number="M1", kind="person", rider=pair.rider, starts_on=date(2026, 1, 1)
    )
    decide_name(source="", kind="rider", spelling="X", member=pair.rider, by=ida())
    done = merge(pair.horse, Horse.objects.create(name="Fen"), by=ida(), reason="the same")
    waiting = hand_in(FILE.replace("s1", "s2").encode(), by=ida())
    return [
        "/ledger/",
        f"/ledger/scores/{Score.objects.get().pk}/",
        "/ledger/imports/",
        f"/ledger/imports/{waiting.pk}/",
        "/ledger/names/",
        "/ledger/merges/",
        "/ledger/merges/?kind=pair&q=r",
        f"/ledger/merges/plan/?kind=rider&kept={pair.rider_id}&gone={Rider.objects.exclude(pk=pair.rider_id).get().pk}",
        f"/ledger/merges/{done.pk}/",
        f"/ledger/riders/{pair.rider_id}/",
        f"/ledger/horses/{pair.horse_id}/",
        "/ledger/members/linden/",
        f"/ledger/members/linden/{held.pk}/",
    ]


def test_keepers_and_staff_see_every_page_and_nobody_else_sees_one(client: Client, association: Association):
    pages = addresses()
    for address in pages:
        assert client.get(address).status_code == 302, address
    client.force_login(make_user("stranger"))
    for address in pages:
        assert client.get(address).status_code == 403, address
        assert client.post(address).status_code == 403, address
    for user in (association.roles.get().user, make_user("staff", is_staff=True)):
        client.force_login(user)
        for address in pages:
            response = client.get(address)
            assert response.status_code == 200, address
            assert "no-store" in response["Cache-Control"]


def test_another_associations_members_are_not_shown(keeper: Client):
    make_association("moor")
    assert keeper.get("/ledger/members/moor/").status_code == 403
    assert keeper.get("/ledger/members/nowhere/").status_code == 404


@pytest.mark.parametrize(
    "address",
    [
        "/ledger/?q=%00&page=x",
        "/ledger/?q=" + "x" * 500,
        "/ledger/merges/?kind=owner&q=%00",
        "/ledger/members/linden/?q=%00",
        "/ledger/imports/?page=-1",
    ],
)
def test_nonsense_in_an_address_is_answered(keeper: Client, address: str):
    assert keeper.get(address).status_code == 200


@pytest.mark.parametrize(
    "query", ["", "?kind=rider", "?kind=rider&kept=x&gone=1", f"?kind=rider&kept={'9' * 30}&gone=1"]
)
def test_a_plan_of_nothing_is_not_found(keeper: Client, query: str):
    assert keeper.get(f"/ledger/merges/plan/{query}").status_code == 404


def test_a_file_is_looked_at_its_names_decided_and_imported_as_shown(keeper: Client):
    known = make_pair(1, rider="Ottilie Brandmair", horse="Quillon")
    upload = SimpleUploadedFile("spring.csv", FILE.encode())
    response = keeper.post("/ledger/imports/", {"file": upload, "source": "north"}, follow=True)
    page = said(response)
    assert "spring.csv, from north" in page
    assert "2 names of the file are like names that are known" in page
    assert "Not before it is said who is meant" in page
    assert page.count(" checked>") == 2
    address = response.redirect_chain[-1][0]
    form: dict[str, object] = {"act": "names"}
    for position in range(2):
        kind = hidden(response, f"kind-{position}")
        form |= {
            f"kind-{position}": kind,
            f"spelling-{position}": hidden(response, f"spelling-{position}"),
            f"choice-{position}": getattr(known, f"{kind}_id"),
        }
    response = keeper.post(address, form, follow=True)
    assert "2 names are decided on." in said(response)
    assert "Who is meant?" not in said(response)
    confirmation = {"act": "confirm", "digest": hidden(response, "digest"), "state": hidden(response, "state")}
    response = keeper.post(address, confirmation, follow=True)
    assert "imported as it was shown" in said(response)
    assert Score.objects.get().pair == known
    assert Score.objects.get().changes.get().by.username == "keeper"
    assert "Imported" in said(keeper.get(address))


def test_a_ledger_that_changed_is_shown_anew_before_it_is_confirmed(keeper: Client):
    response = keeper.post("/ledger/imports/", {"text": FILE}, follow=True)
    address = response.redirect_chain[-1][0]
    confirmation = {"act": "confirm", "digest": hidden(response, "digest"), "state": hidden(response, "state")}
    import_scores(FILE.replace("67.500", "60.000"), by=ida())
    response = keeper.post(address, confirmation | {"reason": "sent by post"})
    assert response.status_code == 409
    assert "worked out again" in said(response)
    assert "percentage: 60.000 → 67.500" in said(response)
    assert 'value="sent by post"' in said(response)
    assert Score.objects.get().percentage == "60.000"


def test_a_choice_that_was_not_offered_decides_nothing(keeper: Client):
    make_pair(1, rider="Ottilie Brandmair")
    other = make_pair(2)
    waiting = hand_in(FILE.encode(), by=ida())
    form = {"act": "names", "kind-0": "rider", "spelling-0": "Ottilie Brandmair", "choice-0": other.rider_id}
    keeper.post(f"/ledger/imports/{waiting.pk}/", form)
    assert not NameDecision.objects.exists()


def test_problems_are_listed_and_nothing_typed_is_lost(keeper: Client):
    response = keeper.post("/ledger/imports/", {"text": " ", "source": "north"})
    assert response.status_code == 422
    assert "The file is empty." in said(response)
    assert 'value="north"' in said(response)
    response = keeper.post("/ledger/imports/", {"text": FILE.replace("67.500", "=HYPERLINK(1)")}, follow=True)
    assert "row 2, percentage" in said(response)
    assert "Import as shown" not in said(response)


def test_a_hostile_name_is_text_on_the_page(keeper: Client):
    text = FILE.replace("Quillon", "<script>alert(1)</script>")
    response = keeper.post("/ledger/imports/", {"text": text}, follow=True)
    assert "<script>alert" not in response.content.decode()
    assert "&lt;script&gt;alert" in response.content.decode()


def test_a_file_is_taken_away(keeper: Client):
    waiting = hand_in(FILE.encode(), by=ida())
    keeper.post(f"/ledger/imports/{waiting.pk}/", {"act": "again"})
    keeper.post(f"/ledger/imports/{waiting.pk}/", {"act": "take-away"})
    assert not WaitingImport.objects.exists()


def test_a_decision_is_undone(keeper: Client):
    decision = decide_name(source="north", kind="rider", spelling="O. B.", member=make_pair(1).rider, by=ida())
    address = f"/ledger/names/{decision.pk}/undo/"
    assert "is undone" in said(keeper.post(address, follow=True))
    assert "undone already" in said(keeper.post(address, follow=True))
    decision.refresh_from_db()
    assert decision.undone_by.username == "keeper"
    assert keeper.get(address).status_code == 405


def test_a_score_is_found_corrected_retracted_and_put_back(keeper: Client):
    import_scores(FILE, by=ida())
    score = Score.objects.get()
    assert f"/ledger/scores/{score.pk}/" in said(keeper.get("/ledger/?q=brandm+spring"))
    assert f"/ledger/scores/{score.pk}/" not in said(keeper.get("/ledger/?q=nobody"))
    address = f"/ledger/scores/{score.pk}/"
    version = hidden(keeper.get(address), "version")
    bad = keeper.post(address, {"act": "correct", "version": version, "percentage": "101", "reason": "typing error"})
    assert bad.status_code == 409
    assert 'value="101"' in said(bad)
    assert 'value="typing error"' in said(bad)
    good = {"act": "correct", "version": version, "percentage": "68.000", "reason": "typing error"}
    response = keeper.post(address, good, follow=True)
    assert "percentage: 67.500 → 68.000" in said(response)
    assert "by Ida Moss: typing error" in said(response)
    stale = keeper.post(address, good | {"percentage": "69.000"})
    assert "changed by someone else" in said(stale)
    for act, word in (("retract", "has been retracted"), ("put-back", "in force again")):
        version = hidden(keeper.get(address), "version")
        response = keeper.post(address, {"act": act, "version": version, "reason": "a reason"}, follow=True)
        assert word in said(response)
    score.refresh_from_db()
    assert (score.percentage, score.retracted_at) == ("68.000", None)


def test_a_score_of_a_class_offers_nothing_to_change(keeper: Client):
    competition_class = make_class(entries=1)
    mark_sheet(competition_class.entries.get(), mark=70)
    make_official(competition_class, by=None)
    score = Score.objects.get()
    page = said(keeper.get(f"/ledger/scores/{score.pk}/"))
    assert "It is corrected in its class" in page
    assert "Retract the score" not in page
    assert keeper.post(f"/ledger/scores/{score.pk}/", {"act": "retract", "reason": "x"}).status_code == 403


def test_two_riders_are_found_compared_merged_and_made_two_again(keeper: Client):
    season = make_season(Association.objects.get())
    kept = make_pair(1, rider="Ottilie Brandmair")
    decide_name(source="", kind="rider", spelling="O. Brandmair", member=None, by=ida())
    import_scores(FILE.replace("Ottilie Brandmair", "O. Brandmair"), by=ida())
    gone = Rider.objects.get(name="O. Brandmair")
    assert said(keeper.get("/ledger/merges/?kind=rider&q=brandmair")).count('name="kept"') == 2
    query = {"kind": "rider", "kept": kept.rider_id, "gone": gone.pk}
    page = said(keeper.get("/ledger/merges/plan/", query))
    assert "1 pair<" in page
    refused = keeper.post("/ledger/merges/plan/", query | {"reason": ""})
    assert refused.status_code == 409
    response = keeper.post("/ledger/merges/plan/", query | {"reason": "the same address"}, follow=True)
    assert "O. Brandmair has been merged into Ottilie Brandmair" in said(response)
    assert "1 pair moved" in said(response)
    assert not Rider.objects.filter(pk=gone.pk).exists()
    address = f"/ledger/merges/{Merge.objects.get().pk}/"
    assert keeper.post(address, {"reason": ""}).status_code == 409
    response = keeper.post(address, {"reason": "two sisters"}, follow=True)
    assert "are two again" in said(response)
    assert Pair.objects.get(key="P104").rider_id == gone.pk
    season.refresh_from_db()
    assert season.version >= 3


def test_what_stands_against_a_merge_is_told(keeper: Client):
    one, other = make_pair(1), make_pair(2)
    query = {"kind": "rider", "kept": one.rider_id, "gone": other.rider_id}
    page = said(keeper.get("/ledger/merges/plan/", query))
    assert "Both riders have a registration (R1 and R2)" in page
    assert "Merge them" not in page
    make_season(Association.objects.get())  # without members, all scores in the days of its seasons concern it
    with write_transaction():
        post_scores([row(1, pair=one), row(2, pair=other)], by=None)
    assert keeper.post("/ledger/merges/plan/", query | {"reason": "a try"}).status_code == 409


def test_a_member_is_added_changed_and_removed(keeper: Client):
    rider = make_pair(1, rider="Una Lind").rider
    form = {"kind": "person", "member": "R1", "number": "M1", "starts_on": "2026-10-01", "reason": "joined"}
    bad = keeper.post("/ledger/members/linden/", form | {"member": "Nobody", "division": "open"})
    assert bad.status_code == 422
    assert "No rider has this registration or name" in said(bad)
    assert 'value="open"' in said(bad)
    bad = keeper.post("/ledger/members/linden/", form | {"starts_on": "soon"})
    assert "Give the day as 2027-03-01" in said(bad)
    response = keeper.post("/ledger/members/linden/", form | {"member": "Una Lind"}, follow=True)
    assert "Una Lind is a member" in said(response)
    held = Membership.objects.get()
    assert held.rider == rider
    address = f"/ledger/members/linden/{held.pk}/"
    page = keeper.get(address)
    before = {f"before-{name}": hidden(page, f"before-{name}") for name in ("number", "kind", "member", "from")}
    before |= {"before-division": "", "before-to": ""}
    change = {"act": "change", "number": "M2", "starts_on": "2026-10-01", "ends_on": "2027-09-30", "reason": "left"}
    assert "has been changed" in said(keeper.post(address, change | before, follow=True))
    assert "changed by someone else" in said(keeper.post(address, change | before))
    page = keeper.get(address)
    assert "by Ida Moss: left" in said(page)
    names = ("number", "kind", "member", "division", "from", "to")
    now = {f"before-{name}": hidden(page, f"before-{name}") for name in names}
    assert "has been removed" in said(
        keeper.post(address, {"act": "remove", "reason": "never ours"} | now, follow=True)
    )
    assert not Membership.objects.exists()


def test_namesakes_are_told_apart_by_registration(keeper: Client):
    for _ in range(2):
        Rider.objects.create(name="Una Lind")
    form = {"kind": "person", "member": "Una Lind", "number": "M1", "starts_on": "2026-10-01", "reason": "joined"}
    assert "Several riders are called Una Lind" in said(keeper.post("/ledger/members/linden/", form))


def test_the_association_leads_to_its_ledger_and_members(keeper: Client, association: Association):
    page = said(keeper.get("/associations/linden/"))
    assert 'href="/ledger/"' in page
    assert 'href="/ledger/members/linden/"' in page
    keeper.logout()
    assert "/ledger/" not in said(keeper.get("/associations/linden/"))


def test_a_score_is_shown_in_words_and_corrected_as_files_are_written(keeper: Client):
    post_scores([row(1, percentage="67.5", judges=["A. Vale", "B. Moss"], recognised=True)], by=ida())
    found = Score.objects.get()
    page = said(keeper.get(f"/ledger/scores/{found.pk}/"))
    day = f"{found.date.day} {found.date:%B %Y}"
    for label, words in (
        ("Date", day),
        ("Percentage", "67.5 %"),
        ("Judges", "A. Vale, B. Moss"),
        ("Recognised", "yes"),
    ):
        assert f"<dt>{label}</dt><dd>{words}</dd>" in page


def test_one_that_is_alone_cannot_be_compared_and_the_page_says_what_to_do(keeper: Client):
    make_pair(1)
    page = said(keeper.get("/ledger/merges/?kind=rider&q=Rider 1"))
    assert "Only one rider fits “Rider 1”. To merge, find both" in page
    assert "Compare the two" not in page


def test_the_days_of_a_membership_are_written_out(keeper: Client, association: Association):
    held = Membership.objects.create(
        association=association, kind="person", rider=make_pair(1).rider, number="M1", starts_on=date(2026, 10, 1)
    )
    assert "from 1 October 2026 without an end" in said(keeper.get(f"/ledger/members/linden/{held.pk}/"))
