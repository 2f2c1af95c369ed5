"""The outlook of a pair as the API hands it out."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema_serializer
from rest_framework import serializers

from riders.api.fields import DocumentField, Figure, OptionalFigure
from riders.api.people import PAIR_EXAMPLE, PairSerializer
from riders.selectors.outlooks import PairOutlook

_OUTLOOK = {
    "pair": PAIR_EXAMPLE,
    "season": "larkfield-association/2027",
    "as_of": "2027-03-07",
    "outlooks": [
        {
            "outlook": {
                "format": "outlook/1",
                "unit": "R-2041-H-3310",
                "group": {"level": "novice"},
                "qualified": False,
                "value": "62.250",
                "missing": [{"count": "scores", "have": 6, "need": 8}],
                "scores_needed": 2,
                "at_least_each": "61.500",
                "rides": [{"new": ["judge"], "where": []}, {"new": [], "where": []}],
                "next_score": [
                    {"from": "0.000", "to": "58.000", "value": "62.250"},
                    {"from": "58.000", "to": "100.000", "value": None, "value_from": "62.250", "value_to": "67.500"},
                ],
            },
            "chances": [{"rides": 2, "percent": "42", "draws": 1000, "seed": 20270901, "form": ["60.1", "62", "64.5"]}],
        }
    ],
}


class FurtherRideSerializer(serializers.Serializer[Any]):
    new = serializers.ListField(child=serializers.CharField(), help_text="What has to be new, such as judge.")
    where = serializers.ListField(child=DocumentField(), help_text="Conditions, as in a scheme.")


class NextScoreSerializer(serializers.Serializer[Any]):
    to = OptionalFigure()
    value = OptionalFigure(help_text="The value on this stretch; null where it rises along it, or where there is none.")
    value_from = OptionalFigure(required=False)
    value_to = OptionalFigure(required=False)

    def get_fields(self) -> dict[str, Any]:
        return {"from": OptionalFigure(), **super().get_fields()}


class NextPlaceSerializer(serializers.Serializer[Any]):
    to = serializers.IntegerField(allow_null=True, help_text="Null is any lower place.")
    value = OptionalFigure()

    def get_fields(self) -> dict[str, Any]:
        return {"from": serializers.IntegerField(), **super().get_fields()}


class OutlookSerializer(serializers.Serializer[Any]):
    """An ``outlook/1`` document."""

    format = serializers.CharField()
    unit = serializers.CharField()
    group = serializers.DictField(child=serializers.CharField(allow_null=True))
    qualified = serializers.BooleanField()
    value = OptionalFigure()
    missing = serializers.ListField(child=DocumentField(), help_text="Requirements not met: count, have, need.")
    scores_needed = serializers.IntegerField(allow_null=True, help_text="Null where no number of rides does it.")
    at_least_each = OptionalFigure()
    rides = FurtherRideSerializer(many=True)
    next_score = NextScoreSerializer(many=True)
    next_place = NextPlaceSerializer(
        many=True,
        required=False,
        help_text="The value by the place of one more score; where the scheme looks at places.",
    )


class ChanceSerializer(serializers.Serializer[Any]):
    rides = serializers.IntegerField(help_text="With so many further rides.")
    percent = Figure(help_text="Whole per cent.")
    draws = serializers.IntegerField()
    seed = serializers.IntegerField()
    form = serializers.ListField(child=serializers.CharField(), help_text="The percentages that were drawn from.")


class GroupOutlookSerializer(serializers.Serializer[Any]):
    outlook = OutlookSerializer()
    chances = ChanceSerializer(many=True, help_text="An estimate; empty where nothing can be said.")


@extend_schema_serializer(examples=[OpenApiExample("An outlook", value=_OUTLOOK)])
class PairOutlookSerializer(serializers.Serializer[Any]):
    """What a pair's season may still bring, table by table."""

    pair = PairSerializer()
    season = serializers.CharField()
    as_of = serializers.DateField()
    outlooks = GroupOutlookSerializer(many=True)


def outlook_document(outlook: PairOutlook) -> dict[str, Any]:
    return {
        "pair": PairSerializer(outlook.pair).data,
        "season": f"{outlook.season.association.slug}/{outlook.season.slug}",
        "as_of": outlook.as_of.isoformat(),
        "outlooks": [
            {
                "outlook": group.outlook.as_document(),
                "chances": [
                    {
                        "rides": chance.rides,
                        "percent": chance.percent,
                        "draws": chance.draws,
                        "seed": chance.seed,
                        "form": list(group.form),
                    }
                    for chance in group.chances
                ],
            }
            for group in outlook.groups
        ],
    }
