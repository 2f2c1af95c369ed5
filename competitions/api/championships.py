from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import django_filters
from django.core.cache import cache
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import Championship, CompetitionClass
from competitions.policy import visible
from competitions.selectors.championships import championship_etag, championship_for
from competitions.services.championships import (
    create_championship,
    delete_championship,
    rule_of,
    update_championship,
)
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.preconditions import conditional, expected_version, names_current, needs_if_match

_KEPT_SECONDS = 600
_RULES = {
    "method": "mean",
    "of": "total",
    "decimals": 3,
    "ties": [{"by": "part", "class": 2, "part": "artistic"}],
    "tie_places": 3,
}
_INPUT = {
    "competition": "larkfield-spring",
    "slug": "small-tour",
    "title": "Small tour championship",
    "classes": [31, 34],
    "rules": _RULES,
}
_EXAMPLE = {"id": 5, **_INPUT, "version": 1}
_RESULTS = {
    "format": "championship-results/1",
    "championship": "larkfield-spring/small-tour",
    "method": "mean",
    "of": "total",
    "classes": [
        {"class": "larkfield-spring/3", "title": "Class 3"},
        {"class": "larkfield-spring/6", "title": "Class 6"},
    ],
    "rows": [
        {
            "unit": "R-2041-H-3310",
            "placing": 1,
            "shared": False,
            "value": "70.250",
            "classes": [
                {
                    "class": "larkfield-spring/3",
                    "number": "12",
                    "status": "completed",
                    "value": "69.000",
                    "counts": True,
                    "drop_out": False,
                },
                {
                    "class": "larkfield-spring/6",
                    "number": "31",
                    "status": "completed",
                    "value": "71.500",
                    "counts": True,
                    "drop_out": False,
                },
            ],
            "tie": None,
            "reason": None,
            "working": [
                "Class 3: number 12, 69.000 %",
                "Class 6: number 31, 71.500 %",
                "Mean: (69.000 + 71.500) / 2 = 70.250 %",
            ],
        }
    ],
    "teams": [],
}


class NotWorkedOut(APIException):
    status_code = 409
    default_code = "not-worked-out"
    default_detail = "The championship cannot be worked out from the results of its classes as they are."


@extend_schema_serializer(examples=[OpenApiExample("A championship", value=_EXAMPLE)])
class ChampionshipSerializer(serializers.ModelSerializer[Championship]):
    """A placing over several classes of a competition."""

    competition = serializers.CharField(source="competition.slug", read_only=True)
    classes = serializers.SerializerMethodField(help_text="Numbers of the classes here, in the order of riding.")
    rules = serializers.SerializerMethodField(
        help_text="The rule: the keys of championship/1 without format, id, title, classes and names."
    )

    class Meta:
        model = Championship
        fields = [*_EXAMPLE]
        read_only_fields = fields

    def get_classes(self, championship: Championship) -> list[int]:
        return [part.competition_class_id for part in championship.parts.all()]

    def get_rules(self, championship: Championship) -> dict[str, Any]:
        return rule_of(championship)


class _ChampionshipFields(Input):
    title = StrictText(max_length=160)
    classes = serializers.PrimaryKeyRelatedField(
        many=True, queryset=CompetitionClass.objects.none(), help_text="2 to 20 classes, in the order of riding."
    )
    rules = DocumentField(help_text="The keys of championship/1 without format, id, title, classes and names.")
    reason = StrictText(
        max_length=300, required=False, allow_blank=True, help_text="Why, for the history of the championship."
    )

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        known = (
            visible(self.context["request"].user, CompetitionClass.objects.all()) if "request" in self.context else None
        )
        if known is not None:
            fields["classes"].child_relation.queryset = known.select_related("competition")
        return fields

    def validate_rules(self, rules: object) -> Mapping[str, Any]:
        if not isinstance(rules, Mapping):
            raise serializers.ValidationError("Give an object in braces: the rule of the championship.")
        return rules


@extend_schema_serializer(examples=[OpenApiExample("A championship", value=_INPUT)])
class ChampionshipInput(_ChampionshipFields):
    competition = StrictText(max_length=60, help_text="Id of the competition.")
    slug = serializers.SlugField(max_length=60, help_text="Short name in addresses; it stays for good.")


@extend_schema_serializer(
    examples=[
        OpenApiExample("The last class decides", value={"rules": {"method": "last-class-decides", "decimals": 3}})
    ]
)
class ChampionshipChangesInput(_ChampionshipFields):
    """What to change; what is left out stays. ``rules`` replaces the whole rule."""


class ChampionshipFilter(django_filters.FilterSet):
    competition = django_filters.CharFilter("competition__slug", label="Id of the competition.")

    class Meta:
        model = Championship
        fields: list[str] = []


class Championships(CompetitionResource):
    """Championships: placings over several classes."""

    tag = "Results"
    access = {
        "list": Anyone,
        "retrieve": Anyone,
        "results": Anyone,
        "create": SignedIn,
        "partial_update": SignedIn,
        "destroy": SignedIn,
    }
    serializer_class = ChampionshipSerializer
    filterset_class = ChampionshipFilter
    queryset = Championship.objects.none()

    def get_queryset(self) -> QuerySet[Championship]:
        championships = Championship.objects.select_related("competition").prefetch_related("parts")
        return visible(self.request.user, championships).order_by("competition_id", "title", "pk")

    @extend_schema(
        summary="List championships",
        description="Championships of the competitions that are open to you. Filter by the id of a competition.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), ChampionshipSerializer)

    @extend_schema(summary="Read a championship", description="One championship by its number here: classes and rule.")
    def retrieve(self, request: Request, pk: int) -> Response:
        found = self.one_of(self.get_queryset(), pk=pk)
        return self.shown(found, ChampionshipSerializer, version=found.version)

    @extend_schema(
        summary="Set up a championship",
        description="Places pairs, riders or horses over several classes of a competition, by a rule of "
        "`championship/1`. Every problem of the rule is listed. For the office of the competition.",
        request=ChampionshipInput,
        responses={201: ChampionshipSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        fields = self.read(ChampionshipInput)
        competition = self.competition(request, fields.pop("competition"))
        self.demand_office(request, competition)
        made = create_championship(competition, by=self.account, **fields)
        response = self.shown(self._fresh(made), ChampionshipSerializer, status=201, version=made.version)
        response["Location"] = f"/api/v1/championships/{made.pk}/"
        return response

    @extend_schema(
        summary="Change a championship",
        description="Changes the fields that are given, if the championship is still at the version named in "
        "If-Match. For the office of the competition.",
        request=ChampionshipChangesInput,
        responses={200: ChampionshipSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, pk: int) -> Response:
        found = self._office_championship(request, pk)
        fields = self.read(ChampionshipChangesInput, partial=True)
        with stale_as_412(lambda current: ChampionshipSerializer(current).data):
            changed = update_championship(found, expected_version=expected_version(request), by=self.account, **fields)
        return self.shown(self._fresh(changed), ChampionshipSerializer, version=changed.version)

    @extend_schema(
        summary="Delete a championship",
        description="Deletes the championship, if it is still at the version named in If-Match. Its classes, their "
        "results and its history stay. For the office of the competition.",
        request=None,
        responses={204: None},
    )
    @idempotent
    @needs_if_match
    def destroy(self, request: Request, pk: int) -> Response:
        found = self._office_championship(request, pk)
        with stale_as_412(lambda current: ChampionshipSerializer(current).data):
            delete_championship(found, expected_version=expected_version(request), by=self.account)
        return Response(status=204)

    @extend_schema(
        summary="Read the results of a championship",
        description="The places as a `championship-results/1` document with their working, from the official results "
        "of each class, else from its provisional ones. The ETag changes with the rule and with every class: ask with "
        "If-None-Match and get 304 while nothing has changed.",
        responses={
            200: OpenApiResponse(
                OpenApiTypes.OBJECT,
                "A championship-results/1 document.",
                [OpenApiExample("championship-results/1", value=_RESULTS)],
            ),
            409: OpenApiResponse(
                description="It cannot be worked out from the results of its classes; the message says why."
            ),
        },
    )
    @conditional
    def results(self, request: Request, pk: int) -> HttpResponse:
        found = self.one_of(visible(request.user, Championship.objects.select_related("competition")), pk=pk)
        etag = championship_etag(found)
        if names_current(request, etag):
            return HttpResponse(status=304, headers={"ETag": etag})
        content = cache.get(f"results/{etag}")
        if content is None:
            view = championship_for(found)
            if view.document is None:
                raise NotWorkedOut(f"The championship cannot be worked out as it is set up. {view.problem}")
            content = json.dumps(view.document, ensure_ascii=False, separators=(",", ":")).encode()
            cache.set(f"results/{etag}", content, _KEPT_SECONDS)
        return HttpResponse(content, content_type="application/json", headers={"ETag": etag})

    def _office_championship(self, request: Request, pk: int) -> Championship:
        found = self.one_of(self.get_queryset(), pk=pk)
        self.demand_office(request, found.competition)
        return found

    def _fresh(self, championship: Championship) -> Championship:
        return self.get_queryset().get(pk=championship.pk)
