from __future__ import annotations

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone
from riders.api.views import Resource
from riders.models import Pair
from riders.policy import visible

PAIR_EXAMPLE = {
    "id": 104,
    "key": "R-2041-H-3310",
    "rider": "Ada Fenwick",
    "horse": "Copper Lark",
    "owner": "Fenwick Stud",
}


@extend_schema_serializer(examples=[OpenApiExample("A pair", value=PAIR_EXAMPLE)])
class PairSerializer(serializers.ModelSerializer[Pair]):
    """One rider with one horse. Contact data are not part of it."""

    key = serializers.CharField(read_only=True, help_text="Names the pair in documents and in the ledger.")
    rider = serializers.CharField(source="rider.name", read_only=True)
    horse = serializers.CharField(source="horse.name", read_only=True)
    owner = serializers.SerializerMethodField(help_text="The horse's owner; null when not known.")

    class Meta:
        model = Pair
        fields = ["id", "key", "rider", "horse", "owner"]
        read_only_fields = fields

    def get_owner(self, pair: Pair) -> str | None:
        return pair.horse.owner.name if pair.horse.owner else None


class PairFilter(django_filters.FilterSet):
    rider = django_filters.CharFilter("rider__name", label="The rider's whole name, as written.")
    horse = django_filters.CharFilter("horse__name", label="The horse's whole name, as written.")
    key = django_filters.CharFilter("key", label="The pair's key in documents.")

    class Meta:
        model = Pair
        fields: list[str] = []


class Pairs(Resource):
    """Pairs: one rider with one horse."""

    tag = "Ledger"
    access = {"list": Anyone, "retrieve": Anyone}
    serializer_class = PairSerializer
    filterset_class = PairFilter
    queryset = Pair.objects.none()

    def get_queryset(self) -> QuerySet[Pair]:
        pairs = Pair.objects.select_related("rider", "horse__owner").order_by("rider__name", "horse__name", "pk")
        return visible(self.request.user, pairs)

    @extend_schema(
        summary="List pairs",
        description="Every pair that has been entered or has a score, by rider and horse. The names are those on start "
        "lists; contact data are never shown.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), PairSerializer)

    @extend_schema(
        summary="Read a pair",
        description="One pair by its number. Its scores are in the ledger: `/api/v1/scores/?pair=<number>`.",
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.shown(self.one_of(self.get_queryset(), pk=pk), PairSerializer)
