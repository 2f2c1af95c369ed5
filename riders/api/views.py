from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, TypeVar, cast

from django.db.models import Model, QuerySet
from django.http import Http404, QueryDict
from rest_framework.exceptions import ParseError, PermissionDenied, ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.permissions import BasePermission
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.viewsets import GenericViewSet

from riders.api.access import Nobody
from riders.api.preconditions import etag_of
from riders.models import User
from scoring.documents import describe

_M = TypeVar("_M", bound=Model)


class Resource(GenericViewSet[Any]):
    """A resource of the API. ``access`` names for each operation who may call it; one that is not named is refused.

    Views get objects only from querysets that a policy has filtered: what a visitor may not know of is not found.
    """

    access: ClassVar[Mapping[str, type[BasePermission]]] = {}
    permission_classes = [Nobody]

    def get_permissions(self) -> list[Any]:
        if self.action in {None, "metadata"}:
            return []  # the method is not offered here: answered with 405 before anything is read
        return [self.access.get(self.action, Nobody)()]

    @property
    def account(self) -> User:
        """The account that the request is made with, where ``access`` lets nobody else in."""
        return cast("User", self.request.user)

    @property
    def text(self) -> str:
        """The body of the request, where it is a file."""
        given: object = self.request.data
        if not isinstance(given, str):
            raise ParseError("The request has no body. Send the file as its body.")
        return given

    def read(self, serializer: type[BaseSerializer[Any]], **kwargs: Any) -> Any:
        """Return the request's body, read and checked by an input serializer."""
        body: object = self.request.data
        if isinstance(body, QueryDict):
            raise ParseError("The request has no body. Send a JSON object in braces.")
        if not isinstance(body, Mapping):
            raise ParseError(f"The body is {describe(body)}. Send a JSON object in braces.")
        given = serializer(data=body, context=self.get_serializer_context(), **kwargs)
        given.is_valid(raise_exception=True)
        return given.validated_data

    def one_of(self, queryset: QuerySet[_M], **lookup: Any) -> _M:
        """Return the one object of a queryset that the policy has filtered, or answer 404."""
        if any("\0" in value for value in lookup.values() if isinstance(value, str)):
            raise Http404  # nothing is named so, and PostgreSQL refuses to look
        return get_object_or_404(queryset, **lookup)

    def listed(self, queryset: QuerySet[Any], serializer: type[BaseSerializer[Any]]) -> Response:
        """Answer with one page of a filtered list."""
        page = self.paginate_queryset(self.filter_queryset(queryset))
        shown = serializer(page, many=True, context=self.get_serializer_context())
        return self.get_paginated_response(shown.data)

    def shown(
        self, obj: Any, serializer: type[BaseSerializer[Any]], *, status: int = 200, version: int | None = None
    ) -> Response:
        """Answer with one object; where it has a version, that is its ETag."""
        response = Response(serializer(obj, context=self.get_serializer_context()).data, status=status)
        if version is not None:
            response["ETag"] = etag_of(version)
        return response

    @property
    def dry_run(self) -> bool:
        """Tell whether the request asks only what would be done."""
        asked = self.request.query_params.get("dry_run", "false")
        if asked not in {"true", "false"}:
            raise ValidationError({"dry_run": [f"{describe(asked)} is neither true nor false. Write one of the two."]})
        return asked == "true"

    def demand(self, allowed: bool, sentence: str) -> None:
        """Refuse with a sentence unless the policy has allowed it."""
        if not allowed:
            raise PermissionDenied(sentence)
