from __future__ import annotations

import re

import pytest
from django.test import Client

from riders.models import ApiToken, User
from riders.pages.throttle import (
    ATTEMPTS_FROM_ONE_ADDRESS,
    ATTEMPTS_ON_ONE_ACCOUNT,
    ATTEMPTS_ON_ONE_ACCOUNT_FROM_ANYWHERE,
)
from riders.services.accounts import create_token, user_for_token
from tests.builders import PASSWORD, make_user

pytestmark = pytest.mark.django_db


def log_in(client: Client, username: str = "visitor", password: str = PASSWORD, **extra):
    return client.post("/login/", {"username": username, "password": password, **extra})


def test_logging_in_leads_to_the_page_that_was_asked_for(client: Client):
    make_user()
    assert log_in(client, next="/me/").headers["Location"] == "/me/"
    client.logout()
    assert log_in(client, next="https://elsewhere.example/").headers["Location"] == "/me/"


def test_a_wrong_password_is_refused_in_a_sentence_and_keeps_the_name(client: Client):
    make_user()
    page = log_in(client, password="wrong").content.decode()
    assert "do not belong together" in page
    assert 'value="visitor"' in page
    assert "wrong" not in page


def test_an_empty_form_says_which_field_is_missing(client: Client):
    page = log_in(client, username="", password="").content.decode()
    assert "Enter your user name." in page
    assert "Enter your password." in page


def test_too_many_failures_on_one_account_are_refused_even_with_the_right_password(client: Client):
    make_user()
    make_user("other")
    for _ in range(ATTEMPTS_ON_ONE_ACCOUNT):
        assert log_in(client, password="wrong").status_code == 200
    refused = log_in(client)
    assert refused.status_code == 429
    assert "Wait ten minutes" in refused.content.decode()
    assert log_in(client, username="VISITOR").status_code == 429
    assert log_in(client, username="other").status_code == 302


def test_success_forgets_the_failures_of_the_account(client: Client):
    make_user()
    for _ in range(2):
        for _ in range(ATTEMPTS_ON_ONE_ACCOUNT - 1):
            log_in(client, password="wrong")
        assert log_in(client).status_code == 302
        client.logout()


def test_too_many_failures_from_one_address_are_refused_whatever_the_account(client: Client):
    make_user()
    for n in range(ATTEMPTS_FROM_ONE_ADDRESS):
        log_in(client, username=f"guess-{n}", password="wrong")
    assert log_in(client).status_code == 429
    elsewhere = Client(REMOTE_ADDR="192.0.2.7")
    assert log_in(elsewhere).status_code == 302


def test_guesses_on_one_account_from_many_addresses_are_refused_in_the_end():
    make_user()
    make_user("other")
    for n in range(ATTEMPTS_ON_ONE_ACCOUNT_FROM_ANYWHERE):
        assert log_in(Client(REMOTE_ADDR=f"198.51.100.{n}"), password="wrong").status_code == 200
    assert log_in(Client(REMOTE_ADDR="192.0.2.7")).status_code == 429
    assert log_in(Client(REMOTE_ADDR="192.0.2.7"), username="other").status_code == 302


def test_behind_a_proxy_failures_are_counted_by_the_address_that_the_proxy_names(client: Client, settings):
    settings.BEHIND_PROXY = True
    make_user()
    for n in range(ATTEMPTS_FROM_ONE_ADDRESS):
        forged = {"X-Forwarded-For": f"198.51.100.{n}, 203.0.113.9"}
        client.post("/login/", {"username": f"guess-{n}", "password": "wrong"}, headers=forged)
    sent = {"username": "visitor", "password": PASSWORD}
    assert client.post("/login/", sent, headers={"X-Forwarded-For": "203.0.113.9"}).status_code == 429
    assert client.post("/login/", sent, headers={"X-Forwarded-For": "203.0.113.10"}).status_code == 302


def test_without_a_proxy_nobody_names_an_address_of_their_own(client: Client):
    make_user()
    for n in range(ATTEMPTS_ON_ONE_ACCOUNT):
        forged = {"X-Forwarded-For": f"198.51.100.{n}"}
        client.post("/login/", {"username": "visitor", "password": "wrong"}, headers=forged)
    assert log_in(client).status_code == 429


def test_logging_out_needs_a_post(client: Client):
    client.force_login(make_user())
    assert client.get("/logout/").status_code == 405
    assert client.post("/logout/").headers["Location"] == "/"
    assert client.get("/me/").status_code == 302


def test_a_form_without_its_token_is_refused_in_a_sentence():
    strict = Client(enforce_csrf_checks=True)
    answer = log_in(strict)
    assert answer.status_code == 403
    assert "Nothing was saved." in answer.content.decode()


def test_a_token_is_shown_once_and_only_its_digest_is_kept(client: Client):
    user = make_user()
    client.force_login(user)
    answer = client.post("/me/tokens/", {"name": "season list"})
    plain = re.search(r"mbk_[\w-]+", answer.content.decode()).group()
    assert "no-store" in answer.headers["Cache-Control"]
    assert user_for_token(plain) == user
    again = client.get("/me/tokens/").content.decode()
    assert "season list" in again
    assert plain not in again
    assert plain not in str(ApiToken.objects.values())


def test_a_token_without_a_name_is_refused_and_nothing_is_made(client: Client):
    client.force_login(make_user())
    answer = client.post("/me/tokens/", {"name": "  "})
    assert answer.status_code == 400
    assert "Give the token a name" in answer.content.decode()
    assert not ApiToken.objects.exists()


def test_a_revoked_token_no_longer_works(client: Client):
    user = make_user()
    token, plain = create_token(user, name="season list")
    client.force_login(user)
    assert client.post(f"/me/tokens/{token.pk}/revoke/").status_code == 302
    assert user_for_token(plain) is None
    assert ">revoked</span>" in client.get("/me/tokens/").content.decode()


def test_tokens_of_others_are_neither_seen_nor_revoked(client: Client):
    owner = make_user("owner")
    token, plain = create_token(owner, name="not yours")
    client.force_login(make_user("other"))
    assert "not yours" not in client.get("/me/tokens/").content.decode()
    assert client.post(f"/me/tokens/{token.pk}/revoke/").status_code == 404
    assert user_for_token(plain) == owner


@pytest.mark.parametrize("path", ["/me/tokens/", "/me/password/"])
def test_account_pages_are_for_people_who_logged_in(client: Client, path: str):
    assert client.get(path).headers["Location"].startswith("/login/")
    assert client.post(path, {"name": "x"}).headers["Location"].startswith("/login/")
    assert not ApiToken.objects.exists()


def test_revoking_takes_a_post(client: Client):
    user = make_user()
    token, plain = create_token(user, name="kept")
    client.force_login(user)
    assert client.get(f"/me/tokens/{token.pk}/revoke/").status_code == 405
    assert user_for_token(plain) == user


def test_a_new_password_replaces_the_old_one(client: Client):
    user = make_user()
    client.force_login(user)
    new = "another long pass-phrase"
    short = client.post("/me/password/", {"old_password": PASSWORD, "new_password1": "short", "new_password2": "short"})
    assert "too short" in short.content.decode()
    changed = {"old_password": PASSWORD, "new_password1": new, "new_password2": new}
    assert client.post("/me/password/", changed).headers["Location"] == "/me/"
    assert User.objects.get(pk=user.pk).check_password(new)


def test_the_header_that_the_page_names_is_the_one_that_the_api_takes(client: Client):
    client.force_login(make_user())
    page = client.post("/me/tokens/", {"name": "season list"}).content.decode()
    scheme = re.search(r"Authorization: (\w+) …", page)
    plain = re.search(r"mbk_[\w-]+", page)
    assert scheme is not None
    assert plain is not None
    client.logout()
    address = "/api/v1/me/"
    assert client.get(address).status_code == 401
    assert client.get(address, headers={"authorization": f"{scheme.group(1)} {plain.group()}"}).status_code == 200


def test_the_time_of_last_use_of_a_token_names_its_zone(client: Client):
    visitor = make_user()
    client.force_login(visitor)
    token, plain = create_token(visitor, name="season list")
    assert "never" in client.get("/me/tokens/").content.decode()
    assert user_for_token(plain) == visitor
    token.refresh_from_db()
    assert f"{token.last_used_at:%H:%M} UTC" in client.get("/me/tokens/").content.decode()
