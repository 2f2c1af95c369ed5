from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource
from competitions.models import Competition
from competitions.services.bundles import bundle_document
from riders.api.access import SignedIn
from riders.api.bundles import BUNDLE_EXAMPLE


class Bundles(CompetitionResource):
    """Results bundles: official results with all that is needed to recompute them."""

    tag = "Files"
    access = {"retrieve": SignedIn}
    serializer_class = serializers.Serializer[Any]
    queryset = Competition.objects.none()

    @extend_schema(
        summary="Read the results bundle",
        description="Every class whose results are official, as published, with every mark, the rules and the names: "
        "one `bundle/1` document to hand to an association. Classes that are provisional, withdrawn or being "
        "corrected are left out. It holds no remarks. For the office of the competition; refused (code "
        "`nothing-official`) while no class is official.",
        responses={
            200: OpenApiResponse(
                OpenApiTypes.OBJECT,
                "A bundle/1 document.",
                [OpenApiExample("bundle/1 (shortened)", value=BUNDLE_EXAMPLE)],
            )
        },
    )
    def retrieve(self, request: Request, slug: str) -> Response:
        found = self.competition(request, slug)
        self.demand_office(request, found)
        return Response(bundle_document(found))
