from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource
from competitions.models import PanelSeat, PanelShare
from competitions.policy import can
from competitions.selectors.comparison import panel_comparison
from competitions.services.panelshares import open_shares, share_with_account, take_back
from riders.api.access import SignedIn
from riders.api.fields import Figure, Input, StrictText
from riders.api.idempotency import idempotent

_ITEM = {
    "item": "4",
    "label": "movement 4",
    "rides": 10,
    "own": "6.90",
    "panel": "7.09",
    "difference": "-0.19",
    "furthest": "-0.50",
    "spread": "0.65",
}
_RIDE = {
    "number": "32",
    "rider": "Ada Fenwick",
    "horse": "Kestrel Dusk",
    "difference": "-0.13",
    "furthest": "-0.75",
    "furthest_at": "movement 7",
}


class ItemComparisonSerializer(serializers.Serializer[Any]):
    item = serializers.CharField(source="item_id")
    label = serializers.CharField()  # type: ignore[assignment]
    rides = serializers.IntegerField()
    own = Figure(help_text="Mean of the own marks.")
    panel = Figure(help_text="Mean of the other seats' means, ride by ride.")
    difference = serializers.CharField(help_text="Own less panel, with its sign.")
    furthest = serializers.CharField(help_text="The largest difference in one ride.")
    spread = Figure(help_text="How far the panel's highest and lowest mark were apart, on average.")


class RideComparisonSerializer(serializers.Serializer[Any]):
    number = serializers.CharField()
    rider = serializers.CharField()
    horse = serializers.CharField()
    difference = serializers.CharField()
    furthest = serializers.CharField()
    furthest_at = serializers.CharField()


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A comparison",
            value={"others": 4, "difference": "-0.15", "spread": "0.75", "items": [_ITEM], "rides": [_RIDE]},
        )
    ]
)
class ComparisonSerializer(serializers.Serializer[Any]):
    """One seat's marks beside those of the others, in marks with two decimals; empty figures where there is nothing."""

    others = serializers.IntegerField(help_text="Other seats on the panel.")
    difference = serializers.CharField(help_text="Mean over all marks of own less panel; empty without any.")
    spread = serializers.CharField(help_text="Mean over all marks of the panel's spread; empty without any.")
    items = ItemComparisonSerializer(many=True)
    rides = RideComparisonSerializer(many=True)


@extend_schema_serializer(
    examples=[OpenApiExample("To a colleague", value={"id": 7, "account": "vesely", "since": "2027-03-07T09:00:00Z"})]
)
class PanelShareSerializer(serializers.Serializer[Any]):
    """What the judge has opened of a comparison and not taken back."""

    id = serializers.IntegerField()
    account = serializers.CharField(
        source="account.username", allow_null=True, default=None, help_text="Null: whoever has the link."
    )
    since = serializers.DateTimeField(source="created_at")


@extend_schema_serializer(examples=[OpenApiExample("To a colleague", value={"account": "vesely"})])
class PanelShareInput(Input):
    account = StrictText(max_length=150, help_text="Name that the person logs in with.")


class _OwnSeat(CompetitionResource):
    tag = "Sheets"
    queryset = PanelSeat.objects.none()
    pagination_class = None

    def seat(self, request: Request, pk: int, seat: str) -> PanelSeat:
        """Return the seat to its judge, once results are official; to everybody else it is not there."""
        found = self.competition_class(request, pk)
        own = self.one_of(found.seats.select_related("judge"), seat=seat)
        own.competition_class = found
        if not can(request.user, "compare", own):
            raise NotFound
        return own


class Comparisons(_OwnSeat):
    """A judge's own marks beside the panel's."""

    access = {"retrieve": SignedIn}
    serializer_class = ComparisonSerializer

    @extend_schema(
        summary="Compare own marks with the panel's",
        description="How the marks of a seat compare with those of the others, by movement and by ride, worked out "
        "exactly and rounded once. For the judge of the seat once results are official, and nobody else: not the "
        "office, and not those to whom it is opened, who see a page with the means only.",
    )
    def retrieve(self, request: Request, pk: int, seat: str) -> Response:
        comparison = panel_comparison(self.seat(request, pk, seat))
        return Response(ComparisonSerializer(asdict(comparison)).data)


class PanelShares(_OwnSeat):
    """To whom a judge has opened the means of a comparison. Links are made on the page alone, where they are shown."""

    access = {"list": SignedIn, "create": SignedIn, "destroy": SignedIn}
    serializer_class = PanelShareSerializer

    @extend_schema(
        summary="List who sees a comparison",
        description="What you have opened of your seat's comparison and not taken back. For the judge of the seat.",
        responses={200: PanelShareSerializer(many=True)},
        filters=False,
    )
    def list(self, request: Request, pk: int, seat: str) -> Response:
        shares = open_shares(self.seat(request, pk, seat), by=self.account)
        return Response(PanelShareSerializer(list(shares), many=True).data)

    @extend_schema(
        summary="Open a comparison to an account",
        description="Lets one account see the means and the spread by movement, for movements of three rides or more. "
        "Opening it again changes nothing. For the judge of the seat.",
        request=PanelShareInput,
        responses={201: PanelShareSerializer},
    )
    @idempotent
    def create(self, request: Request, pk: int, seat: str) -> Response:
        own = self.seat(request, pk, seat)
        share = share_with_account(own, account=self.read(PanelShareInput)["account"], by=self.account)
        return Response(PanelShareSerializer(share).data, status=201)

    @extend_schema(
        summary="Take a share back",
        description="From now on nobody sees the comparison through it; taking it back again changes nothing. For who "
        "opened it.",
        responses={204: OpenApiResponse(description="It is taken back.")},
    )
    @idempotent
    def destroy(self, request: Request, pk: int, seat: str, share: int) -> Response:
        own = self.seat(request, pk, seat)
        take_back(self.one_of(PanelShare.objects.filter(seat=own, by=self.account), pk=share))
        return Response(status=204)
