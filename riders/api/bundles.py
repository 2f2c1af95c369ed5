from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import DocumentField, Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.scores import DRY_RUN
from riders.api.views import Resource
from riders.models import Association
from riders.policy import can, visible
from riders.services.direct_imports import import_bundle

BUNDLE_EXAMPLE: dict[str, Any] = {
    "format": "bundle/1",
    "competition": {"id": "larkfield-spring", "title": "Larkfield Spring Show", "venue": "Larkfield"},
    "classes": [
        {
            "class": {"format": "class/1", "id": "larkfield-spring/3", "title": "Novice Test 2", "x-number": "3"},
            "results": {"format": "results/1", "class": "larkfield-spring/3"},
            "published_at": "2027-03-06T15:02:11+00:00",
            "revision": 1,
        }
    ],
    "digest": "sha256:5d1c3f0e9a7b42d8c6f0a1e3b5d7092846ac1f3e5b7d90a2c4e6f8091b3d5f70",
}
_DONE = {
    "competition": "Larkfield Spring Show",
    "classes": 8,
    "posted": 71,
    "corrected": 0,
    "unchanged": 0,
    "retracted": 0,
    "duplicate": 0,
    "by_members": 64,
}


@extend_schema_serializer(
    examples=[OpenApiExample("A bundle", value={"document": BUNDLE_EXAMPLE, "reason": "sent by the show office"})]
)
class BundleInput(Input):
    document = DocumentField(help_text="A bundle/1 document, as the show office made it.")
    reason = StrictText(
        max_length=300, required=False, allow_blank=True, help_text="Why, for the history of the scores."
    )


@extend_schema_serializer(examples=[OpenApiExample("What was done", value=_DONE)])
class BundleImportedSerializer(serializers.Serializer[Any]):
    """What an import of a bundle did, in scores."""

    competition = serializers.CharField()
    classes = serializers.IntegerField(help_text="Classes that were recomputed and found right.")
    posted = serializers.IntegerField()
    corrected = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    retracted = serializers.IntegerField(help_text="Rides that an earlier revision had and this one has no more.")
    duplicate = serializers.IntegerField(help_text="Left out: the ledger has the ride under another id.")
    by_members = serializers.IntegerField(
        allow_null=True, help_text="Rides by members on the day; null where no memberships are kept."
    )


class AssociationBundles(Resource):
    """Results bundles of shows, taken into the ledger."""

    tag = "Ledger"
    access = {"create": SignedIn}
    serializer_class = BundleImportedSerializer
    queryset = Association.objects.none()

    @extend_schema(
        summary="Import a results bundle",
        description="Recomputes every class of a `bundle/1` document from its marks and posts its scores to the "
        "ledger, all or none. Any figure that differs refuses the whole bundle (code `bundle-differs`) with every "
        "difference by its path. The same bundle again changes nothing. Names that are like known ones refuse it (code "
        "`names-open`): hand it in at `imports/`, decide on them there, and confirm. With `dry_run=true` the answer, a "
        "refusal too, is that of the real request, and nothing is written. For those who keep the association.",
        parameters=[DRY_RUN],
        request=BundleInput,
        responses={
            200: OpenApiResponse(BundleImportedSerializer, "What was done.", [OpenApiExample("Done", value=_DONE)])
        },
    )
    @idempotent
    def create(self, request: Request, slug: str) -> Response:
        association = self.one_of(visible(request.user, Association.objects.all()), slug=slug)
        self.demand(
            can(request.user, "change", association), "Only those who keep this association import bundles for it."
        )
        given = self.read(BundleInput)
        done = import_bundle(
            given["document"],
            association=association,
            by=self.account,
            reason=given.get("reason", ""),
            dry_run=self.dry_run,
        )
        return self.shown(done, BundleImportedSerializer)
