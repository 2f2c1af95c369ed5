from __future__ import annotations

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import refuse_idempotency_key
from riders.api.views import Resource
from riders.models import ApiToken
from riders.policy import visible
from riders.services.accounts import create_token, revoke_token

_TOKEN = {
    "id": 3,
    "name": "Scoreboard in arena B",
    "hint": "mbk_Xa91pQ",
    "created_at": "2027-03-01T08:00:00Z",
    "expires_at": "2028-02-29T08:00:00Z",
    "last_used_at": None,
    "revoked_at": None,
}


@extend_schema_serializer(examples=[OpenApiExample("A token", value=_TOKEN)])
class TokenSerializer(serializers.ModelSerializer[ApiToken]):
    class Meta:
        model = ApiToken
        fields = ["id", "name", "hint", "created_at", "expires_at", "last_used_at", "revoked_at"]
        read_only_fields = fields


@extend_schema_serializer(
    examples=[OpenApiExample("A new token", value={**_TOKEN, "token": "mbk_Xa91pQ-this-is-shown-once"})]
)
class NewTokenSerializer(TokenSerializer):
    token = serializers.CharField(read_only=True, help_text="The token itself. It is shown this once and not kept.")

    class Meta(TokenSerializer.Meta):
        fields = [*TokenSerializer.Meta.fields, "token"]
        read_only_fields = fields


@extend_schema_serializer(examples=[OpenApiExample("Ask for a token", value={"name": "Scoreboard in arena B"})])
class TokenInput(Input):
    name = StrictText(max_length=80, help_text="What the token is for, so that you can tell it from others.")


class Tokens(Resource):
    """Tokens let a program act for you. Each is shown once, when it is made, and can be revoked at any time."""

    tag = "Account"
    access = {"list": SignedIn, "create": SignedIn, "destroy": SignedIn}
    serializer_class = TokenSerializer
    queryset = ApiToken.objects.none()

    def get_queryset(self) -> QuerySet[ApiToken]:
        return visible(self.request.user, ApiToken.objects.all())

    @extend_schema(
        summary="List your tokens",
        description="Your own tokens, the newest first, with when each was last used. The tokens themselves are "
        "not kept.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), TokenSerializer)

    @extend_schema(
        summary="Create a token",
        description="Makes a token that acts for you until it expires or is revoked. The answer is the only place "
        "where it is shown. This write takes no Idempotency-Key, because its answer holds a secret that is not "
        "kept.",
        request=TokenInput,
        responses={201: NewTokenSerializer},
    )
    def create(self, request: Request) -> Response:
        refuse_idempotency_key(request)
        token, plain = create_token(self.account, name=self.read(TokenInput)["name"])
        token.token = plain  # type: ignore[attr-defined]
        return self.shown(token, NewTokenSerializer, status=201)

    @extend_schema(
        summary="Revoke a token",
        description="Ends one of your tokens at once. It stays in the list with the time when it was revoked; "
        "revoking it again changes nothing.",
        responses={204: OpenApiResponse(description="The token is revoked.")},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        revoke_token(self.one_of(self.get_queryset(), pk=pk))
        return Response(status=204)
