from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import Competition, SecondKeyingMode
from competitions.policy import visible
from competitions.services.classes import create_competition, update_competition
from riders.api.access import Anyone, SignedIn, Staff
from riders.api.fields import Input, StrictFlag, StrictText
from riders.api.idempotency import idempotent
from riders.api.preconditions import expected_version, needs_if_match
from riders.models import Association

_EXAMPLE = {
    "slug": "larkfield-spring",
    "title": "Larkfield Spring Show",
    "venue": "Larkfield",
    "organiser": "Larkfield Riding Club",
    "starts_on": "2027-03-06",
    "ends_on": "2027-03-07",
    "time_zone": "Europe/Vienna",
    "state": "published",
    "association": "larkfield-association",
    "recognised": True,
    "second_keying": "off",
    "second_keying_remarks": False,
    "version": 3,
}
_INPUT = {name: value for name, value in _EXAMPLE.items() if name != "version"}


@extend_schema_serializer(examples=[OpenApiExample("A competition", value=_EXAMPLE)])
class CompetitionSerializer(serializers.ModelSerializer[Competition]):
    """A show: one organiser, one venue, some days."""

    association = serializers.SerializerMethodField(
        help_text="Id of the association whose seasons its scores count for."
    )

    class Meta:
        model = Competition
        fields = [*_EXAMPLE]
        read_only_fields = fields

    def get_association(self, competition: Competition) -> str | None:
        return competition.association.slug if competition.association else None


@extend_schema_serializer(examples=[OpenApiExample("A competition", value=_INPUT)])
class CompetitionInput(Input):
    slug = serializers.SlugField(max_length=60, help_text="Id of the competition, as it stands in addresses.")
    title = StrictText(max_length=160)
    venue = StrictText(max_length=160)
    organiser = StrictText(max_length=160, required=False, allow_blank=True)
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    time_zone = StrictText(
        max_length=60, required=False, help_text="Such as Europe/Vienna. Ride times are local to it."
    )
    state = serializers.ChoiceField(
        Competition.State.choices, required=False, help_text="Only a published or closed competition is seen outside."
    )
    association = serializers.SlugRelatedField(
        "slug", queryset=Association.objects.all(), required=False, allow_null=True
    )
    recognised = StrictFlag(required=False, help_text="Its scores count for the association's seasons.")
    second_keying = serializers.ChoiceField(
        SecondKeyingMode.choices,
        required=False,
        help_text="Which sheets of paper are keyed a second time by another person, where a class says nothing else.",
    )
    second_keying_remarks = StrictFlag(required=False, help_text="The second keying reads the remarks too.")


@extend_schema_serializer(examples=[OpenApiExample("Publish it", value={"state": "published"})])
class CompetitionChangesInput(CompetitionInput):
    """What to change; what is left out stays. The id stays as it is."""

    slug = None  # type: ignore[assignment]


class CompetitionFilter(django_filters.FilterSet):
    state = django_filters.ChoiceFilter("state", choices=Competition.State.choices, label="State of the competition.")
    association = django_filters.CharFilter("association__slug", label="Id of the association.")
    date_from = django_filters.DateFilter("ends_on", "gte", label="Only those that end on or after this day.")
    date_to = django_filters.DateFilter("starts_on", "lte", label="Only those that start on or before this day.")

    class Meta:
        model = Competition
        fields: list[str] = []


class Competitions(CompetitionResource):
    """Shows."""

    tag = "Competitions"
    access = {"list": Anyone, "retrieve": Anyone, "create": Staff, "partial_update": SignedIn}
    serializer_class = CompetitionSerializer
    filterset_class = CompetitionFilter
    queryset = Competition.objects.none()

    def get_queryset(self) -> QuerySet[Competition]:
        competitions = Competition.objects.select_related("association").order_by("-starts_on", "title", "pk")
        return visible(self.request.user, competitions)

    @extend_schema(
        summary="List competitions",
        description="Competitions, the latest first. Planned ones are shown to their office and their judges only.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), CompetitionSerializer)

    @extend_schema(
        summary="Read a competition",
        description="One competition by its id. Its classes are under `/api/v1/classes/?competition=<id>`.",
    )
    def retrieve(self, request: Request, slug: str) -> Response:
        found = self.competition(request, slug)
        return self.shown(found, CompetitionSerializer, version=found.version)

    @extend_schema(
        summary="Set up a competition",
        description="Makes a competition. Whoever makes it works in its office from then on.",
        request=CompetitionInput,
        responses={201: CompetitionSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        fields: dict[str, Any] = self.read(CompetitionInput)
        _refuse_taken(fields["slug"])
        made = create_competition(by=self.account, **fields)
        response = self.shown(made, CompetitionSerializer, status=201, version=made.version)
        response["Location"] = f"/api/v1/competitions/{made.slug}/"
        return response

    @extend_schema(
        summary="Change a competition",
        description="Changes the fields that are given, if the competition is still at the version named in "
        "If-Match. For its office.",
        request=CompetitionChangesInput,
        responses={200: CompetitionSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, slug: str) -> Response:
        found = self.competition(request, slug)
        self.demand_office(request, found)
        fields = self.read(CompetitionChangesInput, partial=True)
        with stale_as_412(lambda current: CompetitionSerializer(current).data):
            changed = update_competition(found, expected_version=expected_version(request), by=self.account, **fields)
        return self.shown(changed, CompetitionSerializer, version=changed.version)


def _refuse_taken(slug: str) -> None:
    if Competition.objects.filter(slug=slug).exists():
        raise serializers.ValidationError(
            {"slug": [f'The id "{slug}" belongs to another competition. Choose another one.']}
        )
