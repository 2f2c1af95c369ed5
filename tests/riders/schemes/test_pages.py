"""The pages of schemes and their editor: who gets in, what is kept, what the second of two sees, and nonsense."""

from __future__ import annotations

import json
from random import Random
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from riders.models import AssociationRole, Scheme, SchemeDraft, Season
from riders.services.scheme_drafts import open_draft
from riders.services.scheme_versions import save_version
from riders.services.standings import rebuild_standings
from tests.builders import make_association, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import post, row
from tests.riders.schemes.forms import Fields

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper():
    return make_user("keeper")


@pytest.fixture
def season(keeper):
    season = make_season(make_association(keeper=keeper))
    for n in (1, 2):
        for show in (1, 2):
            post(row(n, key=f"s{n}-{show}", competition=f"show-{show}", percentage=f"6{n}.{show}00"))
    rebuild_standings(season)
    return season


@pytest.fixture
def client(keeper):
    client = Client()
    client.force_login(keeper)
    return client


@pytest.fixture
def draft(season, keeper):
    return open_draft(season.scheme, association=season.association, by=keeper)


def address(draft: SchemeDraft) -> str:
    return reverse("scheme-draft", args=["linden", draft.pk])


def sent(client: Client, draft: SchemeDraft) -> dict[str, str]:
    """Return what a browser would send of the editor of a draft."""
    return Fields(client.get(address(draft)).content.decode(), form="editor").texts


def pages(season: Season, draft: SchemeDraft) -> dict[str, str]:
    scheme = season.scheme_id
    return {
        "library": reverse("schemes", args=["linden"]),
        "version": reverse("scheme-version", args=["linden", scheme]),
        "compare": reverse("scheme-compare", args=["linden", scheme]) + f"?with={scheme}",
        "version effect": reverse("scheme-version-effect", args=["linden", scheme, season.pk]),
        "editor": address(draft),
        "effect": reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk]),
        "unit": reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk]) + "?unit=R1/H1",
    }


class TestWhoGetsIn:
    def test_keepers_and_staff(self, season, draft, keeper):
        staff, colleague, stranger = make_user("staff", is_staff=True), make_user("colleague"), make_user("stranger")
        AssociationRole.objects.create(user=colleague, association=season.association)
        make_association("moor", keeper=stranger)
        own = {"editor", "effect", "unit"}
        for user, shared, personal in (
            (keeper, 200, 200),
            (staff, 200, 404),
            (colleague, 200, 404),
            (stranger, 403, 403),
        ):
            client = Client()
            client.force_login(user)
            for name, url in pages(season, draft).items():
                assert client.get(url).status_code == (personal if name in own else shared), (user, name)

    def test_visitors_are_sent_to_log_in(self, season, draft):
        for url in pages(season, draft).values():
            assert Client().get(url).status_code == 302

    def test_riders_are_refused(self, season, draft):
        client = Client()
        client.force_login(make_user("rider"))
        assert {client.get(url).status_code for url in pages(season, draft).values()} == {403}

    def test_a_scheme_of_another_association_is_copied_not_changed(self, season, keeper):
        stranger = make_user("stranger")
        make_association("moor", keeper=stranger)
        client = Client()
        client.force_login(stranger)
        assert client.post(reverse("scheme-edit", args=["moor", season.scheme_id])).status_code == 403
        begun = client.post(
            reverse("schemes", args=["moor"]), {"title": "Our own", "key": "", "copy": str(season.scheme_id)}
        )
        assert begun.status_code == 302
        assert SchemeDraft.objects.get(by=stranger).document["require"] == qualifying_scheme()["require"]

    def test_a_season_of_another_association_is_not_found(self, season, draft, client):
        other = make_season(make_association("moor"))
        assert client.get(reverse("scheme-draft-effect", args=["linden", draft.pk, other.pk])).status_code == 404
        switch = reverse("scheme-switch", args=["linden", season.scheme_id, other.pk])
        assert client.post(switch, {"reason": "x", "instead_of": season.scheme_id}).status_code == 404


class TestEditing:
    def test_the_form_kept_unchanged_changes_nothing(self, client, draft):
        fields = sent(client, draft)
        assert client.post(address(draft), fields | {"act": "keep"}).status_code == 302
        draft.refresh_from_db()
        assert json.dumps(draft.document) == json.dumps(qualifying_scheme())

    def test_typing_is_kept_and_answered_with_sentences_and_problems(self, client, draft):
        fields = sent(client, draft) | {"require[0].at_least": "many"}
        answer = client.post(address(draft), fields | {"act": "keep"}, headers={"X-Part": "editor"}).json()
        draft.refresh_from_db()
        assert draft.document["require"][0]["at_least"] == "many"
        assert answer["version"] == draft.version == 2
        assert list(answer["problems"].values()) == [['"at_least" is "many". Give a whole number from 0 to 1000000.']]
        assert "1 block with a problem is left out" in answer["beside"]
        assert "form" not in answer

    def test_a_button_gives_the_form_anew_with_what_was_typed(self, client, draft):
        fields = sent(client, draft) | {"title": "Typed just now"}
        answer = client.post(address(draft), fields | {"act": "add eligible 0"}, headers={"X-Part": "editor"}).json()
        assert "Typed just now" in answer["form"]
        assert "eligible[2].field" in Fields(answer["form"]).texts

    def test_it_works_without_scripts(self, client, draft):
        answer = client.post(address(draft), sent(client, draft) | {"act": "add eligible 0"})
        assert answer.status_code == 302
        assert answer["Location"].endswith("#f-eligible-label")
        assert "eligible[2].field" in sent(client, draft)

    def test_saved_it_is_the_next_version_and_the_season_is_given_it(self, client, draft, season):
        fields = sent(client, draft) | {"value.take.best": "1", "act": "save", "reason": "the best one counts"}
        saved = client.post(address(draft), fields, follow=True)
        scheme = Scheme.objects.get(version=2)
        assert saved.redirect_chain[-1][0] == reverse("scheme-version", args=["linden", scheme.pk])
        assert "the best one counts" in saved.content.decode()
        assert not SchemeDraft.objects.exists()
        switch = reverse("scheme-switch", args=["linden", scheme.pk, season.pk])
        given = {"instead_of": season.scheme_id, "reason": "decided by the meeting"}
        standings = client.post(switch, given, follow=True).content.decode()
        assert "61.200" in standings
        season.refresh_from_db()
        assert season.scheme == scheme

    def test_saving_needs_a_reason_and_a_rule_without_problems(self, client, draft):
        fields = sent(client, draft) | {"decimals": "2", "act": "save", "reason": ""}
        answer = client.post(address(draft), fields)
        assert answer.status_code == 422
        assert "Give a reason" in answer.content.decode()
        fields = sent(client, draft) | {"decimals": "x", "act": "save", "reason": "my very own reason"}
        page = client.post(address(draft), fields).content.decode()
        assert "my very own reason" in page
        assert "&quot;decimals&quot; is &quot;x&quot;" in page
        assert Scheme.objects.count() == 1

    def test_the_second_to_save_sees_both_and_goes_on(self, client, draft, season):
        save_version(
            qualifying_scheme(decimals=1), association=season.association, based_on=1, by=None, reason="one decimal"
        )
        assert "Version 2 was saved after this draft was begun" in client.get(address(draft)).content.decode()
        fields = sent(client, draft) | {"decimals": "2", "act": "save", "reason": "two decimals"}
        answer = client.post(address(draft), fields)
        page = answer.content.decode()
        assert answer.status_code == 409
        assert "to 1 decimal;" in page
        assert "to 2 decimals;" in page
        later = Scheme.objects.get(version=2)
        client.post(reverse("scheme-follow", args=["linden", draft.pk, later.pk]))
        client.post(address(draft), sent(client, draft) | {"act": "save", "reason": "two decimals"})
        assert Scheme.objects.get(version=3).document["decimals"] == 2

    def test_two_windows_of_one_person(self, client, draft):
        first, second = sent(client, draft), sent(client, draft)
        client.post(address(draft), first | {"title": "In the first window", "act": "keep"})
        changed = second | {"title": "In the second window"}
        answer = client.post(address(draft), changed | {"act": "keep"})
        page = answer.content.decode()
        assert answer.status_code == 409
        assert "In the first window" in page
        assert "In the second window" in page
        told = client.post(address(draft), changed | {"act": "keep"}, headers={"X-Part": "editor"})
        assert (told.status_code, "another window" in told.json()["message"]) == (409, True)
        client.post(address(draft), Fields(page).texts | {"act": "overwrite"})
        draft.refresh_from_db()
        assert draft.document["title"] == "In the second window"

    def test_a_draft_thrown_away_is_gone(self, client, draft):
        client.post(reverse("scheme-discard", args=["linden", draft.pk]))
        assert not SchemeDraft.objects.exists()

    def test_a_closed_season_is_not_given_another_version(self, client, season):
        scheme = save_version(
            qualifying_scheme(decimals=1), association=season.association, based_on=1, by=None, reason="one decimal"
        )
        Season.objects.filter(pk=season.pk).update(closed_at=timezone.now())
        switch = reverse("scheme-switch", args=["linden", scheme.pk, season.pk])
        answer = client.post(switch, {"instead_of": season.scheme_id, "reason": "late"})
        assert answer.status_code == 422
        assert "closed" in answer.content.decode()
        season.refresh_from_db()
        assert season.scheme.version == 1


class TestEffect:
    def test_counts_rows_and_scores(self, client, draft, season):
        fields = sent(client, draft) | {"require[0].at_least": "3"}
        client.post(address(draft), fields | {"act": "keep"})
        effect = reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk])
        page = client.get(effect + "?kind=falls").content.decode()
        assert "2 qualify now, 0 would" in page
        assert "no longer qualifies" in page
        part = client.get(effect, headers={"X-Part": "effect"}).content.decode()
        assert "<html" not in part
        assert "Rider 1 with Horse 1" in part or "Rider 1" in part
        unit = client.get(effect + "?unit=R1/H1").content.decode()
        assert "Counts with 61.200" in unit
        assert "No place yet" in unit

    def test_a_draft_with_problems_says_them(self, client, draft, season):
        client.post(address(draft), sent(client, draft) | {"decimals": "x", "act": "keep"})
        effect = reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk])
        answer = client.get(effect)
        assert answer.status_code == 422
        assert "decimals" in answer.content.decode()
        assert client.get(effect, headers={"X-Part": "effect"}).status_code == 200

    @pytest.mark.parametrize("query", ["?unit=nobody", "?unit=", "?unit=%00", "?unit=" + "x" * 3000])
    def test_no_such_unit(self, client, draft, season, query):
        effect = reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk])
        assert client.get(effect + query).status_code == 404

    @pytest.mark.parametrize("query", ["?kind=luck", "?page=x", "?page=99999999999", "?kind=%00&page=-1"])
    def test_nonsense_in_the_address_shows_the_whole(self, client, draft, season, query):
        effect = reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk])
        assert client.get(effect + query).status_code == 200


class TestNonsense:
    def test_forms_that_no_page_sends_are_refused_and_change_nothing(self, client, draft):
        bases: tuple[Any, ...] = ("", "[]", "null", "{", "7", "[" * 5000, '{"a":' * 400 + "1" + "}" * 400, '{"a": NaN}')
        for base in bases:
            for act in ("keep", "save", "add eligible 0"):
                fields = {"base": base, "seen": "1", "act": act, "reason": "x"}
                answer = client.post(address(draft), fields)
                assert answer.status_code in {302, 409, 422}, (base[:20], act)
        assert Scheme.objects.count() == 1

    @pytest.mark.parametrize("seen", ["", "x", "-1", "9" * 30, "\x00", "²"])
    def test_a_version_that_is_none_is_another_window(self, client, draft, seen):
        fields = sent(client, draft) | {"seen": seen, "title": "Other", "act": "keep"}
        assert client.post(address(draft), fields).status_code == 409
        draft.refresh_from_db()
        assert draft.document["title"] == "Qualifying average"

    def test_control_characters_are_not_kept_and_what_was_typed_is_shown_again(self, client, draft):
        fields = sent(client, draft) | {"title": "Nul\x00 here", "decimals": "2", "act": "keep"}
        answer = client.post(address(draft), fields)
        page = Fields(answer.content.decode(), form="editor").texts
        assert answer.status_code == 422
        assert page["decimals"] == "2"
        draft.refresh_from_db()
        assert draft.document["title"] == "Qualifying average"

    def test_random_fields_and_buttons(self, client, draft):
        random = Random(20_270_204)
        junk = ["", "-1", "9" * 40, "x" * 500, "{", "null", "\u202e", "1e999", "<script>", "a\r\nb", "*"]
        acts = ["", "keep", "draw", "add eligible 3", "up require[1]", "put threshold", "remove ties[0]", "x", "add  "]
        for _ in range(15):
            fields = sent(client, draft)
            for name in random.sample(sorted(fields), k=5):
                if name not in ("base", "seen", "csrfmiddlewaretoken"):
                    fields[name] = random.choice(junk)
            answer = client.post(address(draft), fields | {"act": random.choice(acts)})
            assert answer.status_code == 302
            draft.refresh_from_db()

    @pytest.mark.parametrize(
        "given",
        [
            {},
            {"title": "\x00"},
            {"title": "x" * 500},
            {"title": "A", "copy": "999999"},
            {"title": "A", "copy": "x"},
            {"title": "A", "key": "../.."},
        ],
    )
    def test_beginning_a_rule(self, client, season, given):
        assert client.post(reverse("schemes", args=["linden"]), given).status_code in {302, 404, 422}

    @pytest.mark.parametrize("query", ["", "?with=", "?with=x", "?with=-1", "?with=" + "9" * 40])
    def test_comparing_with_nothing(self, client, season, query):
        assert client.get(reverse("scheme-compare", args=["linden", season.scheme_id]) + query).status_code == 404

    @pytest.mark.parametrize("given", [{}, {"reason": "x"}, {"instead_of": "x", "reason": "\x00"}])
    def test_switching_without_what_is_needed(self, client, season, given):
        url = reverse("scheme-switch", args=["linden", season.scheme_id, season.pk])
        assert client.post(url, given).status_code in {404, 422}
