"""Memberships through the API, for those who keep the association."""

from __future__ import annotations

import json
import zlib

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.filters import NumberOf
from riders.api.idempotency import idempotent
from riders.api.merges import LedgerReasonInput
from riders.api.preconditions import Stale, expected_version, needs_if_match
from riders.api.views import Resource
from riders.errors import Conflict
from riders.models import Association, Horse, Membership, Rider
from riders.policy import can, visible
from riders.services.memberships import (
    MembershipFields,
    add_membership,
    change_membership,
    membership_record,
    remove_membership,
)

_MEMBERSHIP = {
    "id": 41,
    "number": "M-17",
    "kind": "person",
    "member": 12,
    "name": "Ada Fenwick",
    "division": "open",
    "starts_on": "2026-10-01",
    "ends_on": "2027-09-30",
}
_CHANGES = {"ends_on": "2027-03-31", "reason": "left the association"}


@extend_schema_serializer(examples=[OpenApiExample("A membership", value=_MEMBERSHIP)])
class MembershipSerializer(serializers.ModelSerializer[Membership]):
    """A person or horse belongs to the association from one day to another, both included; no last day is open."""

    kind = serializers.CharField(read_only=True, help_text="person or horse.")
    member = serializers.SerializerMethodField(help_text="Number of the rider or horse.")
    name = serializers.SerializerMethodField(help_text="Name of the rider or horse.")

    class Meta:
        model = Membership
        fields = list(_MEMBERSHIP)
        read_only_fields = fields

    def get_member(self, held: Membership) -> int:
        return held.rider_id or held.horse_id or 0

    def get_name(self, held: Membership) -> str:
        return str(held.rider or held.horse)


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Add a member",
            value={
                "kind": "person",
                "member": 12,
                "number": "M-17",
                "division": "open",
                "starts_on": "2026-10-01",
                "ends_on": None,
                "reason": "joined",
            },
        )
    ]
)
class MembershipInput(Input):
    kind = serializers.ChoiceField(choices=("person", "horse"))
    member = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Number of the rider or horse.")
    number = StrictText(max_length=40)
    division = StrictText(max_length=60, required=False, allow_blank=True)
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(required=False, allow_null=True, help_text="The last day; null is open.")
    reason = StrictText(max_length=300, help_text="Why, for the history.")


@extend_schema_serializer(examples=[OpenApiExample("It ends", value=_CHANGES)])
class MembershipChangesInput(Input):
    number = StrictText(max_length=40, required=False)
    division = StrictText(max_length=60, required=False, allow_blank=True)
    starts_on = serializers.DateField(required=False)
    ends_on = serializers.DateField(required=False, allow_null=True, help_text="The last day; null is open.")
    reason = StrictText(max_length=300, help_text="Why, for the history.")


class MembershipFilter(django_filters.FilterSet):
    rider = NumberOf("rider", label="Number of the rider.")
    horse = NumberOf("horse", label="Number of the horse.")
    number = django_filters.CharFilter("number", label="The membership's number, as written.")

    class Meta:
        model = Membership
        fields: list[str] = []


class Memberships(Resource):
    """Memberships of an association. They are private to those who keep it."""

    tag = "Seasons"
    access = dict.fromkeys(("list", "create", "retrieve", "partial_update", "remove"), SignedIn)
    serializer_class = MembershipSerializer
    filterset_class = MembershipFilter
    queryset = Membership.objects.none()

    def _of(self, slug: str) -> Association:
        found = self.one_of(visible(self.request.user, Association.objects.all()), slug=slug)
        self.demand(can(self.request.user, "change", found), "Only those who keep this association see its members.")
        return found

    def _rows(self, slug: str) -> QuerySet[Membership]:
        rows = visible(self.request.user, Membership.objects.filter(association=self._of(slug)))
        return rows.select_related("rider", "horse", "association").order_by("number", "starts_on", "pk")

    @extend_schema(
        summary="List memberships",
        description="The memberships of an association by number and first day. For those who keep it.",
    )
    def list(self, request: Request, slug: str) -> Response:
        return self.listed(self._rows(slug), MembershipSerializer)

    @extend_schema(
        summary="Read a membership",
        description="One membership of an association; its ETag names its version. For those who keep it.",
    )
    def retrieve(self, request: Request, slug: str, pk: int) -> Response:
        return self._shown(self.one_of(self._rows(slug), pk=pk))

    @extend_schema(
        summary="Add a membership",
        description="Makes a known rider or horse a member from one day to another, and has the open seasons of the "
        "association worked out anew. For those who keep it.",
        request=MembershipInput,
        responses={201: MembershipSerializer},
    )
    @idempotent
    def create(self, request: Request, slug: str) -> Response:
        association = self._of(slug)
        given = self.read(MembershipInput)
        model: type[Rider | Horse] = Rider if given["kind"] == "person" else Horse
        member = model._default_manager.filter(pk=given["member"]).first()  # noqa: SLF001
        if member is None:
            raise ValidationError(
                {"member": [f"There is no rider or horse number {given['member']}. Look it up again."]}
            )
        fields = MembershipFields(
            number=given["number"],
            division=given.get("division", ""),
            starts_on=given["starts_on"],
            ends_on=given.get("ends_on"),
        )
        added = add_membership(association, member=member, fields=fields, by=self.account, reason=given["reason"])
        return self._shown(added, status=201)

    @extend_schema(
        summary="Change a membership",
        description="Gives a membership another number, division or other days, if it is still at the version named in "
        "If-Match, and has the open seasons worked out anew. What stood before is kept in its history.",
        request=MembershipChangesInput,
        responses={200: MembershipSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, slug: str, pk: int) -> Response:
        held = self._current(request, slug, pk)
        given = self.read(MembershipChangesInput)
        fields = MembershipFields(
            **{name: given.get(name, getattr(held, name)) for name in ("number", "division", "starts_on", "ends_on")}
        )
        try:
            changed = change_membership(
                held, fields=fields, before=membership_record(held), by=self.account, reason=given["reason"]
            )
        except Conflict as conflict:
            raise self._stale(held, conflict.message) from conflict
        return self._shown(changed)

    @extend_schema(
        summary="Remove a membership",
        description="Removes a membership that should never have been there; one that is over gets a last day instead. "
        "The open seasons are worked out anew.",
        request=LedgerReasonInput,
        responses={204: OpenApiResponse(description="The membership is removed.")},
    )
    @idempotent
    @needs_if_match
    def remove(self, request: Request, slug: str, pk: int) -> Response:
        held = self._current(request, slug, pk)
        reason = self.read(LedgerReasonInput)["reason"]
        try:
            remove_membership(held, before=membership_record(held), by=self.account, reason=reason)
        except Conflict as conflict:
            raise self._stale(held, conflict.message) from conflict
        return Response(status=204)

    def _current(self, request: Request, slug: str, pk: int) -> Membership:
        held = self.one_of(self._rows(slug), pk=pk)
        if expected_version(request) != _version(held):
            raise self._stale(held, "The membership was changed since you read it. Look at it again, then change it.")
        return held

    def _stale(self, held: Membership, message: str) -> Stale:
        current = Membership.objects.select_related("rider", "horse").filter(pk=held.pk).first()
        document = dict(MembershipSerializer(current).data) if current else None
        return Stale(message, current=document, version=_version(current) if current else None)

    def _shown(self, held: Membership, *, status: int = 200) -> Response:
        return self.shown(held, MembershipSerializer, status=status, version=_version(held))


def _version(held: Membership) -> int:
    """Return a number that says what stands in a membership, which has no version of its own: imports change it too."""
    return zlib.crc32(json.dumps([held.pk, membership_record(held)]).encode()) % 10**9
