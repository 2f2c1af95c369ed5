"""A season and the scheme it counts by: what another one would do to it, and giving it another one."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from riders.api.access import SignedIn
from riders.api.fields import DocumentField, Input, StrictInteger, StrictText
from riders.api.idempotency import idempotent
from riders.api.rebuilds import ACCEPTED, StandingsRebuildSerializer
from riders.api.schemes import SCHEME_DOCUMENT
from riders.api.seasons import SchemeNameSerializer
from riders.api.views import Resource
from riders.errors import Conflict
from riders.models import Scheme, Season, SeasonSchemeChange
from riders.policy import can, visible
from riders.services.scheme_effects import KINDS, Effect, Standing, effect_of, names_of_units, unit_under
from riders.services.scheme_switches import switch_season

_ROWS, _MOST_ROWS = 50, 500
_STANDING = {
    "group": "novice",
    "value": "68.125",
    "placing": 1,
    "shared": False,
    "qualified": True,
    "tier": "",
}
_EFFECT = {
    "comparable": True,
    "scores": 8120,
    "units": {"before": 640, "after": 640},
    "qualified": {"before": 118, "after": 104},
    "counts": {"falls": 14, "qualifies": 0, "place": 96, "value": 0},
    "unchanged": 522,
    "rows": [
        {
            "unit": "R-2041/H-77",
            "name": "Ada Fenwick with Quillon",
            "kinds": ["place"],
            "before": _STANDING | {"placing": 2},
            "after": _STANDING,
        }
    ],
    "unit_scores": [],
}
_CHANGE = {
    "before": {"key": "qualifying-average", "version": 1},
    "after": {"key": "qualifying-average", "version": 2},
    "at": "2027-02-03T18:30:00Z",
    "by": "m.hartl",
    "reason": "the meeting of 1 February decided on eight scores",
}


@extend_schema_serializer(
    examples=[OpenApiExample("A draft", value={"document": SCHEME_DOCUMENT, "kind": "falls", "rows": 50})]
)
class PreviewInput(Input):
    document = DocumentField(help_text="A scheme/1 document; it need not be kept anywhere.")
    kind = serializers.ChoiceField(
        choices=tuple(KINDS), required=False, help_text="Only rows with this change; left out, with any."
    )
    rows = StrictInteger(
        min_value=1, max_value=_MOST_ROWS, required=False, help_text=f"How many rows; {_ROWS} as a rule."
    )
    unit = StrictText(
        max_length=120, required=False, help_text="A unit whose scores are wanted as the draft counts them."
    )


@extend_schema_serializer(examples=[OpenApiExample("An effect", value=_EFFECT)])
class EffectSerializer(serializers.Serializer[Any]):
    """What a draft would do to the standings of a season, on the ledger as it is now."""

    comparable = serializers.BooleanField(
        help_text="False where the draft ranks other units than the season does: rows then show the draft alone."
    )
    scores = serializers.IntegerField(help_text="Scores in the days of the season.")
    units = serializers.DictField(child=serializers.IntegerField(), help_text="Rows before and after.")
    qualified = serializers.DictField(child=serializers.IntegerField(), help_text="Qualified rows before and after.")
    counts = serializers.DictField(
        child=serializers.IntegerField(),
        help_text="Units that no longer qualify, newly qualify, change place, change value.",
    )
    unchanged = serializers.IntegerField()
    rows = serializers.ListField(child=serializers.DictField(), help_text="The gravest change first.")
    unit_scores = serializers.ListField(
        child=serializers.DictField(),
        help_text="Where a unit is asked for: each of its scores with what would become of it and why.",
    )


@extend_schema_serializer(examples=[OpenApiExample("A change of scheme", value=_CHANGE)])
class SeasonSchemeChangeSerializer(serializers.ModelSerializer[SeasonSchemeChange]):
    """A season was given another scheme or version."""

    before = SchemeNameSerializer(read_only=True)
    after = SchemeNameSerializer(read_only=True)
    by = serializers.SerializerMethodField(help_text="The account; null where a command did it.")

    class Meta:
        model = SeasonSchemeChange
        fields = list(_CHANGE)
        read_only_fields = fields

    def get_by(self, change: SeasonSchemeChange) -> str | None:
        return str(change.by) if change.by else None


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Another version",
            value={"key": "qualifying-average", "version": 2, "instead_of": 1, "reason": "decided on 1 February"},
        )
    ]
)
class SwitchInput(Input):
    key = StrictText(max_length=80, help_text="Id of the scheme.")
    version = StrictInteger(min_value=1, max_value=10**6, help_text="The version to count by from now on.")
    instead_of = StrictInteger(min_value=1, max_value=10**6, help_text="The version that the season counts by now.")
    reason = StrictText(max_length=300, help_text="Why, for the history.")


class SeasonSchemes(Resource):
    """The scheme of a season."""

    tag = "Seasons"
    access = {"preview": SignedIn, "changes": SignedIn, "switch": SignedIn}
    serializer_class = SeasonSchemeChangeSerializer
    queryset = Season.objects.none()

    def _kept(self, pk: int) -> Season:
        season = self.one_of(visible(self.request.user, Season.objects.select_related("association", "scheme")), pk=pk)
        self.demand(can(self.request.user, "change", season), "Only those who keep this association may do this.")
        return season

    @extend_schema(
        summary="Preview a scheme",
        description="Works out what a `scheme/1` document would do to a season, on the ledger as it is now: which "
        "units would newly qualify, no longer qualify, change place or value. Nothing is kept. For those who keep the "
        "association.",
        request=PreviewInput,
        responses={200: EffectSerializer},
    )
    def preview(self, request: Request, pk: int) -> Response:
        season = self._kept(pk)
        given = self.read(PreviewInput)
        effect = effect_of(given["document"], season)
        unit = given.get("unit", "")
        scores = _unit_scores(given["document"], season, unit=unit) if unit else []
        rows = effect.of(given.get("kind", "")) if effect.comparable else effect.rows
        return Response(_effect_document(effect, rows[: given.get("rows", _ROWS)]) | {"unit_scores": scores})

    @extend_schema(
        summary="List the changes of scheme of a season",
        description="When the season was given another scheme or version, by whom and why; the latest first. For those "
        "who keep the association.",
        responses={200: SeasonSchemeChangeSerializer(many=True)},
    )
    def changes(self, request: Request, pk: int) -> Response:
        season = self._kept(pk)
        rows: QuerySet[SeasonSchemeChange] = SeasonSchemeChange.objects.filter(season=season)
        rows = visible(request.user, rows).select_related("before", "after", "by").order_by("-pk")
        return self.listed(rows, SeasonSchemeChangeSerializer)

    @extend_schema(
        summary="Switch the scheme of a season",
        description="Has a season count by another scheme or version from now on, and works its standings out anew. "
        "A long ledger is left to the queue, and the season counts by the other scheme once that is done. Refused with "
        "409 where it no longer counts by `instead_of`, with 403 for a closed one. For those who keep the association.",
        request=SwitchInput,
        responses={200: SeasonSchemeChangeSerializer, 202: ACCEPTED},
    )
    @idempotent
    def switch(self, request: Request, pk: int) -> Response:
        season = self._kept(pk)
        given = self.read(SwitchInput)
        schemes = visible(request.user, Scheme.objects.all())
        to = schemes.filter(key=given["key"], version=given["version"]).first()
        if to is None:
            raise ValidationError(
                {"key": [f"There is no version {given['version']} of such a scheme. Look it up again."]}
            )
        if season.scheme.version != given["instead_of"]:
            raise Conflict(f"{season.title} counts by {season.scheme}. Look at it again before you change it.")
        under_way = switch_season(season, to=to, instead_of=season.scheme, by=self.account, reason=given["reason"])
        if under_way is not None:
            response = self.shown(under_way, StandingsRebuildSerializer, status=202)
            response["Location"] = reverse("api-season-rebuild", kwargs={"pk": season.pk}, request=request)
            return response
        latest = SeasonSchemeChange.objects.select_related("before", "after", "by").filter(season=season).first()
        return self.shown(latest, SeasonSchemeChangeSerializer)


def _effect_document(effect: Effect, rows: tuple[Any, ...]) -> dict[str, Any]:
    names = names_of_units(effect.unit, rows)
    return {
        "comparable": effect.comparable,
        "scores": effect.scores,
        "units": dict(zip(("before", "after"), effect.units, strict=True)),
        "qualified": dict(zip(("before", "after"), effect.qualified, strict=True)),
        "counts": dict(effect.counts),
        "unchanged": effect.unchanged,
        "rows": [
            {
                "unit": row.unit,
                "name": names.get(row.unit, row.unit),
                "kinds": list(row.kinds) if effect.comparable else [],
                "before": _standing(row.before),
                "after": _standing(row.after),
            }
            for row in rows
        ],
    }


def _standing(standing: Standing | None) -> dict[str, Any] | None:
    if standing is None:
        return None
    found = asdict(standing)
    del found["order"]
    return found | {"value": standing.value or None}


def _unit_scores(document: object, season: Season, *, unit: str) -> list[dict[str, Any]]:
    return [
        {
            "group": dict(found.row.group) if found.row else None,
            "score_id": explained.score.key,
            "outcome": explained.outcome,
            "sentence": explained.sentence,
        }
        for found in unit_under(document, season, unit=unit)
        for explained in found.scores
    ]
