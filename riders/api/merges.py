"""Riders, horses and pairs that stand here twice, through the API."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.views import Resource
from riders.models import Horse, Merge, Pair, Rider
from riders.policy import keeps_a_ledger, may_merge, visible
from riders.services.merges import merge, plan_merge, undo_merge

NOT_YOURS = (
    "At least one of the two must concern an association that you keep (a member, or a score that it brought in), and "
    "neither may concern only others. Ask staff to merge them."
)
_KINDS = ("rider", "horse", "pair")
_MODELS: dict[str, type[Rider | Horse | Pair]] = {"rider": Rider, "horse": Horse, "pair": Pair}
_MERGE = {
    "id": 3,
    "kind": "rider",
    "kept": 12,
    "gone": 31,
    "kept_name": "Ottilie Brandmair",
    "gone_name": "O. Brandmair",
    "at": "2027-03-08T10:00:00Z",
    "by": "Ida Moss",
    "reason": "same address, confirmed by telephone",
    "undone_at": None,
    "undone_by": None,
    "undo_reason": "",
    "undo_notes": [],
    "steps": [
        {"do": "move", "model": "riders.pair", "field": "rider", "rows": [104], "from": 31, "to": 12},
        {"do": "remove", "model": "riders.rider", "row": 31, "values": {"id": 31, "name": "O. Brandmair"}},
    ],
}
_PLAN = {
    "kind": "rider",
    "kept": 12,
    "gone": 31,
    "conflicts": ["Both riders have a registration (R-1 and R-2), so they are two."],
    "moved": {"pairs": 2, "scores": 9},
}


@extend_schema_serializer(examples=[OpenApiExample("A merge", value={**_MERGE})])
class MergeSerializer(serializers.ModelSerializer[Merge]):
    """Two that were made one: who, when, why, and every step. An undone merge stays in the list."""

    kind = serializers.CharField(read_only=True, help_text="rider, horse or pair.")
    by = serializers.SerializerMethodField(help_text="Who merged; null when not known.")
    undone_by = serializers.SerializerMethodField(help_text="Who undid it; null when nobody did.")
    undo_notes = serializers.ListField(
        child=serializers.CharField(), read_only=True, help_text="What could not go back, since it was changed after."
    )
    steps = serializers.ListField(
        child=serializers.DictField(), read_only=True, help_text="What was moved, removed and filled in, in order."
    )

    class Meta:
        model = Merge
        fields = list(_MERGE)
        read_only_fields = fields

    def get_by(self, done: Merge) -> str | None:
        return str(done.by) if done.by else None

    def get_undone_by(self, done: Merge) -> str | None:
        return str(done.undone_by) if done.undone_by else None


@extend_schema_serializer(examples=[OpenApiExample("What a merge would do", value=_PLAN)])
class MergePlanSerializer(serializers.Serializer[Any]):
    """What a merge would move, and what stands against it."""

    kind = serializers.CharField(help_text="rider, horse or pair.")
    kept = serializers.IntegerField()
    gone = serializers.IntegerField()
    conflicts = serializers.ListField(child=serializers.CharField(), help_text="Empty where the two can be merged.")
    moved = serializers.DictField(child=serializers.IntegerField())


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Merge two riders", value={"kind": "rider", "kept": 12, "gone": 31, "reason": "same address, telephoned"}
        )
    ]
)
class MergeInput(Input):
    kind = serializers.ChoiceField(choices=_KINDS)
    kept = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Number of the one that stays.")
    gone = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="Number of the one that goes.")
    reason = StrictText(max_length=300, help_text="How it is known that the two are one.")


@extend_schema_serializer(examples=[OpenApiExample("A reason", value={"reason": "two sisters after all"})])
class LedgerReasonInput(Input):
    reason = StrictText(max_length=300, help_text="Why, for the history.")


class Merges(Resource):
    """Riders, horses and pairs that stood here twice."""

    tag = "Ledger"
    access = dict.fromkeys(("list", "create", "retrieve", "plan", "undo"), SignedIn)
    serializer_class = MergeSerializer
    queryset = Merge.objects.none()

    def get_queryset(self) -> QuerySet[Merge]:
        self.demand(keeps_a_ledger(self.request.user), "Only those who keep the ledger of an association merge.")
        return visible(self.request.user, Merge.objects.select_related("by", "undone_by").order_by("-pk"))

    @extend_schema(
        summary="List merges",
        description="Riders, horses and pairs that were made one, the latest first. For those who keep a ledger: what "
        "they or those who keep an association with them merged, and what concerns their association.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), MergeSerializer)

    @extend_schema(
        summary="Read a merge", description="One merge with every step that it took. For keepers of a ledger."
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.shown(self.one_of(self.get_queryset(), pk=pk), MergeSerializer)

    @extend_schema(
        summary="Plan a merge",
        description="Says what a merge would move and what stands against it, without doing it. For those who keep a "
        "ledger.",
        parameters=[
            OpenApiParameter("kind", str, enum=_KINDS, required=True, description="What the two are."),
            OpenApiParameter("kept", int, required=True, description="Number of the one that stays."),
            OpenApiParameter("gone", int, required=True, description="Number of the one that goes."),
        ],
        responses={200: MergePlanSerializer},
    )
    def plan(self, request: Request) -> Response:
        self.get_queryset()
        asked = MergeInput(
            data={**{name: request.query_params.get(name) for name in ("kind", "kept", "gone")}, "reason": "-"}
        )
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        found = plan_merge(*self._two(given))
        return Response(
            {name: given[name] for name in ("kind", "kept", "gone")}
            | {"conflicts": list(found.conflicts), "moved": dict(found.moved)}
        )

    @extend_schema(
        summary="Merge two",
        description="Makes two riders, horses or pairs one: scores, entries and memberships follow, and the open "
        "seasons that are touched are worked out anew. Refused with 409 where they cannot be one (both have a "
        "registration, both are entered in one class), and with 403 where the two do not concern an association that "
        "you keep. It can be undone.",
        request=MergeInput,
        responses={201: MergeSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.get_queryset()
        given = self.read(MergeInput)
        kept, gone = self._two(given)
        self.demand(may_merge(request.user, kept, gone), NOT_YOURS)
        done = merge(kept, gone, by=self.account, reason=given["reason"])
        response = self.shown(done, MergeSerializer, status=201)
        response["Location"] = f"/api/v1/merges/{done.pk}/"
        return response

    @extend_schema(
        summary="Undo a merge",
        description="Takes every step of a merge back, the last one first; what has come since stays with the one that "
        "was kept. Refused with 409 where a later merge built on it. For those who see the merge in the list.",
        request=LedgerReasonInput,
        responses={200: MergeSerializer},
    )
    @idempotent
    def undo(self, request: Request, pk: int) -> Response:
        done = self.one_of(self.get_queryset(), pk=pk)
        return self.shown(
            undo_merge(done, by=self.account, reason=self.read(LedgerReasonInput)["reason"]), MergeSerializer
        )

    def _two(self, given: dict[str, Any]) -> tuple[Rider | Horse | Pair, Rider | Horse | Pair]:
        rows = visible(self.request.user, _MODELS[given["kind"]]._default_manager.all())  # noqa: SLF001
        found: dict[int, Any] = {row.pk: row for row in rows.filter(pk__in=[given["kept"], given["gone"]])}
        missing = [name for name in ("kept", "gone") if given[name] not in found]
        if missing:
            raise ValidationError(
                {name: [f"There is no {given['kind']} number {given[name]}. Look it up again."] for name in missing}
            )
        return found[given["kept"]], found[given["gone"]]
