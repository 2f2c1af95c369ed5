"""An address with a NUL character leads nowhere, on either database and whoever asks."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.builders import make_class, make_competition, make_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "address",
    [
        "/competitions/linden-autumn/%00/",
        "/competitions/linden-autumn/1/%00/",
        "/competitions/linden-autumn/1/1/sheets/%00/remarks.vtt",
        "/table/panel/linden-autumn/1/C%00/",
        "/table/shared/%00/",
        "/tests/%00/",
        "/%00",
    ],
)
def test_nul_is_nowhere(address):
    office = make_user("office")
    make_class(make_competition(office=office), entries=1)
    client = Client()
    for _ in range(2):
        assert client.get(address).status_code == 404
        client.force_login(office)
