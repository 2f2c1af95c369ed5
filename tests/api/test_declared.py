from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, path
from rest_framework.permissions import BasePermission
from rest_framework.settings import api_settings
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from config.api import urls
from config.api.permissions import DenyUnlessDeclared
from riders.api.access import Nobody
from riders.api.views import Resource


def api_patterns(patterns: list[Any] = urls.urlpatterns) -> Iterator[URLPattern]:
    """Return every address of the API."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from api_patterns(pattern.url_patterns)
        else:
            yield pattern


def undeclared(pattern: URLPattern) -> list[str]:
    """Return what stands against a view: no permission of its own, or an operation that nobody was named for."""
    view = getattr(pattern.callback, "cls", None)
    if view is None or not issubclass(view, APIView):
        return [f"{pattern.name} is not a view of the API"]
    if issubclass(view, Resource):
        actions: dict[str, str] = pattern.callback.actions
        return [f"{pattern.name}: {action}" for action in actions.values() if view.access.get(action, Nobody) is Nobody]
    if not any("permission_classes" in vars(base) for base in view.__mro__[: view.__mro__.index(APIView)]):
        return [f"{pattern.name} declares no permission"]
    return []


@pytest.mark.parametrize("pattern", list(api_patterns()), ids=lambda pattern: str(pattern.name))
def test_every_address_declares_who_may_use_it(pattern: URLPattern) -> None:
    assert undeclared(pattern) == []


def test_there_are_addresses_to_walk() -> None:
    assert len(list(api_patterns())) > 45


def test_a_view_without_a_declaration_is_found() -> None:
    class Bare(APIView):
        pass

    class Forgetful(Resource):
        access = {}

        def list(self, request: Any) -> None: ...

    assert undeclared(path("bare/", Bare.as_view(), name="bare")) == ["bare declares no permission"]
    assert undeclared(path("f/", Forgetful.as_view({"get": "list"}), name="f")) == ["f: list"]


def test_the_default_denies_everyone(world: Any) -> None:
    assert [DenyUnlessDeclared] == api_settings.DEFAULT_PERMISSION_CLASSES

    class Bare(APIView):
        def get(self, request: Any) -> None:
            raise AssertionError("nobody gets here")

    for role in ("visitor", "staff"):
        request = APIRequestFactory().get(
            "/", HTTP_AUTHORIZATION=world.client(role)._credentials.get("HTTP_AUTHORIZATION", "")
        )
        assert Bare.as_view()(request).status_code in {401, 403}


def test_permissions_are_classes_of_our_own() -> None:
    for pattern in api_patterns():
        view = pattern.callback.cls
        for permission in view.access.values() if issubclass(view, Resource) else view.permission_classes:
            assert issubclass(permission, BasePermission)
            assert permission.__module__ == "riders.api.access"
