"""The standings of a season worked out anew as a whole, through the queue."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from riders.api.access import SignedIn
from riders.api.idempotency import idempotent
from riders.api.views import Resource
from riders.models import Season, StandingsRebuild
from riders.policy import can, visible
from riders.services.rebuilds import latest_rebuild, request_rebuild

_REBUILD = {
    "state": "running",
    "progress": 60,
    "message": "",
    "requested_at": "2027-03-07T17:20:00Z",
    "finished_at": None,
}


@extend_schema_serializer(examples=[OpenApiExample("A rebuild", value=_REBUILD)])
class StandingsRebuildSerializer(serializers.ModelSerializer[StandingsRebuild]):
    """The work of looking at every score of a season again. The standings shown stay until it is done."""

    progress = serializers.IntegerField(read_only=True, help_text="Per cent.")

    class Meta:
        model = StandingsRebuild
        fields = [*_REBUILD]
        read_only_fields = fields


ACCEPTED = OpenApiResponse(
    StandingsRebuildSerializer,
    "It is in the queue, or under way already; Location names where to read its state.",
    [OpenApiExample("In the queue", value={**_REBUILD, "state": "queued", "progress": 0})],
)


class SeasonRebuilds(Resource):
    """Standings worked out anew as a whole."""

    tag = "Seasons"
    access = {"ask": SignedIn, "latest": SignedIn}
    serializer_class = StandingsRebuildSerializer
    queryset = StandingsRebuild.objects.none()

    @extend_schema(
        summary="Have the standings worked out anew",
        description="Asks for every score of the season to be looked at again, through the queue. Asked again while it "
        "is under way, it is the same work. Standings follow the ledger by themselves, so this is seldom needed. For "
        "those who keep the season.",
        request=None,
        responses={202: ACCEPTED},
    )
    @idempotent
    def ask(self, request: Request, pk: int) -> Response:
        season = self._kept(request, pk)
        rebuild = request_rebuild(season, by=self.account)
        response = self.shown(rebuild, StandingsRebuildSerializer, status=202)
        response["Location"] = reverse("api-season-rebuild", kwargs={"pk": season.pk}, request=request)
        return response

    @extend_schema(
        summary="Read how far the standings are",
        description="The latest work on the standings as a whole: queued, running with its progress, done, or failed "
        "with the reason. For those who keep the season.",
        responses={200: StandingsRebuildSerializer},
    )
    def latest(self, request: Request, pk: int) -> Response:
        rebuild = latest_rebuild(self._kept(request, pk))
        if rebuild is None:
            raise NotFound("The standings of this season have not been worked out as a whole yet. Ask for it first.")
        return self.shown(rebuild, StandingsRebuildSerializer)

    def _kept(self, request: Request, pk: int) -> Season:
        seasons = visible(request.user, Season.objects.select_related("association", "scheme"))
        season: Season = self.one_of(seasons, pk=pk)
        self.demand(can(request.user, "change", season), "Only those who keep the association of this season do this.")
        return season
