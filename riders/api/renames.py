"""Riders and horses given another name, through the API."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.views import Resource
from riders.models import Horse, NameChange, Rider
from riders.policy import can, keeps_a_ledger, visible
from riders.services.renames import LONGEST, rename

_KINDS = ("rider", "horse")
_MODELS: dict[str, type[Rider | Horse]] = {"rider": Rider, "horse": Horse}
_RENAME = {
    "id": 4,
    "kind": "rider",
    "member": 12,
    "before": "Ottilie Brandmair",
    "after": "Ottilie Brandmair-Lind",
    "at": "2027-03-08T10:00:00Z",
    "by": "Ida Moss",
    "reason": "married",
}


@extend_schema_serializer(examples=[OpenApiExample("A rename", value={**_RENAME})])
class RenameSerializer(serializers.ModelSerializer[NameChange]):
    """A rider or horse that was given another name."""

    kind = serializers.CharField(read_only=True, help_text="rider or horse.")
    by = serializers.SerializerMethodField(help_text="Who did it; null when not known.")

    class Meta:
        model = NameChange
        fields = list(_RENAME)
        read_only_fields = fields

    def get_by(self, done: NameChange) -> str | None:
        return str(done.by) if done.by else None


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Another name",
            value={name: _RENAME[name] for name in ("kind", "member", "before", "reason")} | {"name": _RENAME["after"]},
        )
    ]
)
class RenameInput(Input):
    kind = serializers.ChoiceField(choices=_KINDS)
    member = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Number of the rider or horse.")
    before = StrictText(max_length=LONGEST, help_text="The name that it has now.")
    name = StrictText(max_length=LONGEST, help_text="The name that it is to have.")
    reason = StrictText(max_length=300, help_text="Why, for the history.")


class Renames(Resource):
    """Riders and horses that were given another name."""

    tag = "Ledger"
    access = {"list": SignedIn, "create": SignedIn}
    serializer_class = RenameSerializer
    queryset = NameChange.objects.none()

    def get_queryset(self) -> QuerySet[NameChange]:
        self.demand(keeps_a_ledger(self.request.user), "Only those who keep the ledger of an association do this.")
        return visible(self.request.user, NameChange.objects.select_related("by").order_by("-pk"))

    @extend_schema(
        summary="List renames",
        description="Riders and horses that were given another name, the latest first: those that concern an "
        "association that the caller keeps, or that its keepers gave.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), RenameSerializer)

    @extend_schema(
        summary="Give another name",
        description="Gives a rider or horse another name. Boards, documents and open standings follow; files may go on "
        "using the name before. Answered with 409 where it is not called `before` any more. For those who keep an "
        "association that it concerns. A rename back undoes it.",
        request=RenameInput,
        responses={201: RenameSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.get_queryset()
        given = self.read(RenameInput)
        rows: QuerySet[Any] = visible(request.user, _MODELS[given["kind"]]._default_manager.all())  # noqa: SLF001
        member = rows.filter(pk=given["member"]).first()
        if member is None:
            raise ValidationError({"member": [f"There is no {given['kind']} number {given['member']}. Look it up."]})
        self.demand(
            can(request.user, "change", member), "It concerns no association that you keep. Ask staff to mend the name."
        )
        done = rename(member, name=given["name"], before=given["before"], by=self.account, reason=given["reason"])
        return self.shown(done, RenameSerializer, status=201)
