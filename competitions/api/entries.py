from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import F, QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import CompetitionClass, Entry
from competitions.policy import visible
from competitions.services.entries import (
    add_entry,
    draw_running_order,
    remove_entry,
    set_in_ring,
    set_outcome,
    set_running_order,
)
from competitions.services.entry_details import change_entry
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DecimalIn, Input, StrictFlag, StrictInteger, StrictText
from riders.api.filters import NumberOf
from riders.api.idempotency import idempotent
from riders.api.people import PAIR_EXAMPLE, PairSerializer
from riders.api.preconditions import expected_version, needs_if_match
from riders.models import Pair

_DEDUCTION = {"off": "sheet-points", "amount": "2", "seat": None, "reason": "whip"}
_EXAMPLE = {
    "id": 412,
    "class": 31,
    "number": "12",
    "pair": PAIR_EXAMPLE,
    "order": 4,
    "ride_time": "2027-03-06T08:24:00Z",
    "status": "completed",
    "status_reason": "",
    "hors_concours": False,
    "team": "Green",
    "errors": 1,
    "deductions": [_DEDUCTION],
    "version": 5,
}


class DeductionSerializer(Input):
    """A fixed penalty other than an error of course, as in ``class/1``."""

    off = serializers.ChoiceField(
        ["sheet-points", "part-percentage", "total-percentage"], help_text="What the amount comes off."
    )
    amount = DecimalIn(help_text="Points or percentage points, above 0.")
    seat = StrictText(
        max_length=10, required=False, allow_null=True, help_text="One seat's sheet only; null is every sheet."
    )
    part = StrictText(
        max_length=20, required=False, allow_null=True, help_text="Part of the test; null is the technical one."
    )
    reason = StrictText(max_length=200, required=False, allow_blank=True)


@extend_schema_serializer(examples=[OpenApiExample("An entry", value=_EXAMPLE)])
class EntrySerializer(serializers.ModelSerializer[Entry]):
    """A pair in a class, with a number. Contact data are not part of it."""

    pair = PairSerializer(read_only=True)
    deductions = DeductionSerializer(many=True, read_only=True)
    ride_time = serializers.DateTimeField(
        read_only=True, allow_null=True, help_text="Worked out from the running order."
    )

    class Meta:
        model = Entry
        fields = [*(name for name in _EXAMPLE if name != "class")]
        read_only_fields = fields

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        number = serializers.IntegerField(
            source="competition_class_id", read_only=True, help_text="Number of the class."
        )
        return {"id": fields.pop("id"), "class": number, **fields}


@extend_schema_serializer(examples=[OpenApiExample("Enter a pair", value={"class": 31, "number": "12", "pair": 104})])
class EntryInput(Input):
    class_ = StrictInteger(min_value=1, help_text="Number of the class.")
    number = StrictText(max_length=10, help_text="The number that the horse wears; once in a class.")
    pair = serializers.PrimaryKeyRelatedField(queryset=Pair.objects.select_related("rider", "horse__owner"))
    team = StrictText(max_length=80, required=False, allow_blank=True)
    hors_concours = StrictFlag(required=False, help_text="Rides outside the competition.")


@extend_schema_serializer(
    examples=[OpenApiExample("Another horse", value={"pair": 105, "reason": "horse lame, change declared"})]
)
class EntryChangesInput(Input):
    """What to change; what is left out stays."""

    number = StrictText(max_length=10, required=False)
    pair = serializers.PrimaryKeyRelatedField(
        queryset=Pair.objects.select_related("rider", "horse__owner"), required=False
    )
    team = StrictText(max_length=80, required=False, allow_blank=True)
    reason = StrictText(
        max_length=300, required=False, allow_blank=True, help_text="Why, for the history of the entry."
    )


@extend_schema_serializer(
    examples=[
        OpenApiExample("One error of course", value={"errors": 1}),
        OpenApiExample("Eliminated", value={"status": "eliminated", "reason": "third error of course"}),
        OpenApiExample("A deduction", value={"deductions": [_DEDUCTION], "why": "decision of the judge at C"}),
    ]
)
class OutcomeInput(Input):
    """What happened beside the marks; what is left out stays."""

    status = serializers.ChoiceField(
        Entry.Status.choices,
        required=False,
        help_text="With entered, running or completed the status follows the sheets.",
    )
    errors = StrictInteger(  # type: ignore[assignment]
        min_value=0, max_value=20, required=False, help_text="Number of errors of course."
    )
    reason = StrictText(max_length=300, required=False, allow_blank=True, help_text="Shown beside the status.")
    deductions = DeductionSerializer(  # type: ignore[call-arg]
        many=True, required=False, max_length=20, help_text="All deductions, replacing those."
    )
    hors_concours = StrictFlag(required=False)
    why = StrictText(max_length=300, required=False, allow_blank=True, help_text="Why, for the history of the entry.")


@extend_schema_serializer(
    examples=[
        OpenApiExample("Draw by lot", value={"seed": "larkfield-spring-3"}),
        OpenApiExample("Set it", value={"entries": [412, 409, 415]}),
    ]
)
class RunningOrderInput(Input):
    seed = StrictText(max_length=80, required=False, help_text="Draw by lot; the same seed draws the same order again.")
    entries = serializers.ListField(
        child=StrictInteger(min_value=1),
        required=False,
        max_length=2000,
        help_text="Numbers of all entries of the class in the order of riding.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if len(attrs) != 1:
            raise serializers.ValidationError("Give either a seed to draw by, or the entries in their order.")
        return attrs


@extend_schema_serializer(examples=[OpenApiExample("Entry 412", value={"entry": 412})])
class InRingInput(Input):
    entry = StrictInteger(min_value=1, allow_null=True, help_text="Number of the entry; null when the ring is empty.")


class EntryFilter(django_filters.FilterSet):
    class_ = NumberOf("competition_class", label="Number of the class.")
    competition = django_filters.CharFilter("competition_class__competition__slug", label="Id of the competition.")
    pair = NumberOf("pair", label="Number of the pair.")
    number = django_filters.CharFilter("number", label="The number that the horse wears.")
    status = django_filters.MultipleChoiceFilter(
        choices=Entry.Status.choices, label="Status; may be given several times."
    )

    class Meta:
        model = Entry
        fields: list[str] = []


# "class" is a word of Python, so the filter of that name is put in afterwards
EntryFilter.base_filters["class"] = EntryFilter.base_filters.pop("class_")


class Entries(CompetitionResource):
    """Entries of classes."""

    tag = "Entries"
    access = {
        "list": Anyone,
        "retrieve": Anyone,
        "create": SignedIn,
        "partial_update": SignedIn,
        "destroy": SignedIn,
        "outcome": SignedIn,
    }
    serializer_class = EntrySerializer
    filterset_class = EntryFilter
    queryset = Entry.objects.none()

    def get_queryset(self) -> QuerySet[Entry]:
        entries = visible(self.request.user, Entry.objects.select_related("pair__rider", "pair__horse__owner"))
        return entries.order_by("competition_class_id", F("order").asc(nulls_last=True), "number", "pk")

    @extend_schema(
        summary="List entries",
        description="Entries by class, in the running order. Filter by class for a start list.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), EntrySerializer)

    @extend_schema(
        summary="Read an entry",
        description="One entry by its number here. Its ETag is the version that a change has to name.",
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        found = self.one_of(self.get_queryset(), pk=pk)
        return self.shown(found, EntrySerializer, version=found.version)

    @extend_schema(
        summary="Enter a pair",
        description="Enters a pair in a class; it rides last until the running order says otherwise. For the "
        "office of the competition.",
        request=EntryInput,
        responses={201: EntrySerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        fields = self.read(EntryInput)
        found = self.competition_class(request, fields.pop("class"))
        self.demand_office(request, found.competition)
        made = add_entry(found, by=self.account, **fields)
        response = self.shown(made, EntrySerializer, status=201, version=made.version)
        response["Location"] = f"/api/v1/entries/{made.pk}/"
        return response

    @extend_schema(
        summary="Change an entry",
        description="Corrects the number, the pair or the team, if the entry is still at the version named in "
        "If-Match. Sheets and outcome stay with it. For the office of the competition.",
        request=EntryChangesInput,
        responses={200: EntrySerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, pk: int) -> Response:
        found = self._office_entry(request, pk)
        fields = self.read(EntryChangesInput)
        with stale_as_412(_entry_document):
            changed = change_entry(
                found,
                expected_version=expected_version(request),
                by=self.account,
                number=fields.get("number", found.number),
                pair=fields.get("pair", found.pair),
                team=fields.get("team", found.team),
                why=fields.get("reason", ""),
            )
        return self._answer(request, changed.pk)

    @extend_schema(
        summary="Remove an entry",
        description="Takes out an entry that nobody has marked. One with sheets is withdrawn instead (its "
        "outcome), so that no mark is lost. For the office of the competition.",
        responses={204: OpenApiResponse(description="The entry is removed.")},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        remove_entry(self._office_entry(request, pk), by=self.account)
        return Response(status=204)

    @extend_schema(
        summary="Set an outcome",
        description="Errors of course, deductions, and a status such as eliminated or withdrawn; the class is "
        "worked out anew. Refused while results are official and no correction is under way. For the office of the "
        "competition.",
        request=OutcomeInput,
        responses={200: EntrySerializer},
    )
    @idempotent
    @needs_if_match
    def outcome(self, request: Request, pk: int) -> Response:
        found = self._office_entry(request, pk)
        fields = self.read(OutcomeInput)
        with stale_as_412(_entry_document):
            set_outcome(found, expected_version=expected_version(request), by=self.account, **fields)
        return self._answer(request, pk)

    def _office_entry(self, request: Request, pk: int) -> Entry:
        found = self.entry(request, pk)
        self.demand_office(request, found.competition_class.competition)
        return found

    def _answer(self, request: Request, pk: int) -> Response:
        fresh = self.entry(request, pk)
        return self.shown(fresh, EntrySerializer, version=fresh.version)


class ClassDay(CompetitionResource):
    """What the office does while a class runs."""

    tag = "Entries"
    access = {"running_order": SignedIn, "in_ring": SignedIn}
    serializer_class = EntrySerializer
    pagination_class = None
    queryset = Entry.objects.none()

    @extend_schema(
        summary="Set the running order",
        description="Draws the order by lot, or sets it as given; ride times follow from it. A class that has "
        "started is not drawn again. Answers with the entries in their new order. For the office of the "
        "competition.",
        request=RunningOrderInput,
        responses={200: EntrySerializer(many=True)},
    )
    @idempotent
    def running_order(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        fields = self.read(RunningOrderInput)
        if "seed" in fields:
            draw_running_order(found, seed=fields["seed"], by=self.account)
        else:
            set_running_order(found, entry_ids=fields["entries"], by=self.account)
        entries = found.entries.select_related("pair__rider", "pair__horse__owner").order_by("order", "number", "pk")
        return Response(EntrySerializer(entries, many=True).data)

    @extend_schema(
        summary="Say who is in the ring",
        description="Names the entry that is riding now, or null when the ring is empty; the board shows it at "
        "once. For the office of the competition.",
        request=InRingInput,
        responses={
            200: OpenApiResponse(
                InRingInput, "Who is in the ring.", [OpenApiExample("Entry 412", value={"entry": 412})]
            )
        },
    )
    @idempotent
    def in_ring(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        wanted = self.read(InRingInput)["entry"]
        entry = None if wanted is None else self.one_of(found.entries.all(), pk=wanted)
        set_in_ring(found, entry=entry, by=self.account)
        return Response({"entry": wanted})

    def _office_class(self, request: Request, pk: int) -> CompetitionClass:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        return found


def _entry_document(entry: Entry) -> dict[str, Any]:
    fresh = Entry.objects.select_related("pair__rider", "pair__horse__owner").get(pk=entry.pk)
    return dict(EntrySerializer(fresh).data)
