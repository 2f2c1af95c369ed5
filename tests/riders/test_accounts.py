from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from riders.errors import InvalidInput
from riders.models import ApiToken
from riders.services.accounts import create_token, revoke_token, user_for_token
from tests.builders import make_user

pytestmark = pytest.mark.django_db


def test_a_token_opens_until_it_is_revoked_and_is_not_kept_in_plain():
    user = make_user()
    token, plain = create_token(user, name="office laptop")
    assert user_for_token(plain) == user
    stored = ApiToken.objects.filter(pk=token.pk).values().get()
    assert not any(plain in str(value) for value in stored.values())
    revoke_token(token)
    revoke_token(token)
    assert user_for_token(plain) is None


def test_expired_tokens_unknown_ones_and_those_of_inactive_users_open_nothing():
    user = make_user()
    token, plain = create_token(user, name="a")
    assert user_for_token("mbk_unknown") is None
    ApiToken.objects.filter(pk=token.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert user_for_token(plain) is None
    _, other = create_token(user, name="b")
    user.is_active = False
    user.save()
    assert user_for_token(other) is None


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_a_token_needs_a_name(name):
    with pytest.raises(InvalidInput, match="needs a name"):
        create_token(make_user(), name=name)
