from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.policy import office_competitions, seats_of
from riders.api.access import SignedIn
from riders.api.views import Resource
from riders.models import Rider, User
from riders.policy import associations_of

_EXAMPLE = {
    "username": "office",
    "name": "Mara Quill",
    "staff": False,
    "rider": None,
    "seats": [{"class": 31, "competition": "larkfield-spring", "seat": "C"}],
    "offices": ["larkfield-spring"],
    "associations": [],
}


class MySeatSerializer(serializers.Serializer[Any]):
    competition = serializers.CharField(help_text="Id of the competition.")
    seat = serializers.CharField(help_text="Letter of the seat.")

    def get_fields(self) -> dict[str, Any]:
        return {"class": serializers.IntegerField(help_text="Number of the class."), **super().get_fields()}


@extend_schema_serializer(examples=[OpenApiExample("The office of a show", value=_EXAMPLE)])
class MeSerializer(serializers.Serializer[Any]):
    """Who you are here and what you may do follows from it."""

    username = serializers.CharField()
    name = serializers.CharField()
    staff = serializers.BooleanField(help_text="Staff of this service may do everything.")
    rider = serializers.CharField(allow_null=True, help_text="The rider that this account belongs to.")
    seats = MySeatSerializer(many=True, help_text="Where you judge.")
    offices = serializers.ListField(child=serializers.CharField(), help_text="Competitions in whose office you work.")
    associations = serializers.ListField(child=serializers.CharField(), help_text="Associations whose ledger you keep.")


class Me(Resource):
    """The account that a request is made with."""

    tag = "Account"
    access = {"retrieve": SignedIn}
    serializer_class = MeSerializer
    queryset = User.objects.none()

    @extend_schema(
        summary="Who am I",
        description="The account that the token or the login belongs to, and its roles: rider, judge, office, "
        "association, staff. For staff the lists name every competition and association.",
        responses={200: MeSerializer},
    )
    def retrieve(self, request: Request) -> Response:
        user: Any = request.user
        seats = seats_of(user).order_by("competition_class_id", "order", "pk")
        rider = Rider.objects.filter(user=user).first()
        return Response(
            {
                "username": user.username,
                "name": user.get_full_name(),
                "staff": user.is_staff,
                "rider": rider.name if rider else None,
                "seats": [
                    {"class": class_id, "competition": slug, "seat": seat}
                    for class_id, slug, seat in seats.values_list(
                        "competition_class_id", "competition_class__competition__slug", "seat"
                    )
                ],
                "offices": list(office_competitions(user).order_by("slug").values_list("slug", flat=True)),
                "associations": list(associations_of(user).order_by("slug").values_list("slug", flat=True)),
            }
        )
