"""Two rows of a season's table side by side, through the API: "why is she third?"."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone
from riders.api.fields import OptionalFigure
from riders.api.views import Resource
from riders.models import Season, StandingTable
from riders.policy import visible
from riders.selectors.comparisons import Comparison, Side, compare_rows, row_of_unit
from riders.selectors.places import PlacedRow
from riders.selectors.seasons import rows_as_closed
from scoring.documents import describe

_COMPARISON = {
    "sentence": "Decided by value: 68.125 against 67.900.",
    "steps": [{"compared": "value", "figures": ["68.125", "67.900"], "decides": True}],
    "sides": [
        {
            "unit": "R-2041-H-3310",
            "placing": 1,
            "shared": False,
            "value": "68.125",
            "counted": ["larkfield-spring/3/12"],
        },
        {
            "unit": "R-2050-H-3399",
            "placing": 2,
            "shared": False,
            "value": "67.900",
            "counted": ["larkfield-spring/3/7"],
        },
    ],
}


class ComparedStepSerializer(serializers.Serializer[Any]):
    compared = serializers.CharField(help_text="What is compared, in words.")
    figures = serializers.ListField(child=serializers.CharField(), help_text="As text, in the order of the sides.")
    decides = serializers.BooleanField()


class ComparedSideSerializer(serializers.Serializer[Any]):
    unit = serializers.CharField()
    placing = serializers.IntegerField(allow_null=True)
    shared = serializers.BooleanField()
    value = OptionalFigure()
    counted = serializers.ListField(child=serializers.CharField(), help_text="Ids of the scores that count.")


@extend_schema_serializer(examples=[OpenApiExample("Two rows", value=_COMPARISON)])
class ComparedRowsSerializer(serializers.Serializer[Any]):
    """Two rows of one table, the better one first, step by step up to the first figure that differs."""

    sentence = serializers.CharField()
    steps = ComparedStepSerializer(many=True)
    sides = ComparedSideSerializer(many=True)


class RowComparisons(Resource):
    tag = "Seasons"
    access = {"retrieve": Anyone}
    serializer_class = ComparedRowsSerializer
    queryset = Season.objects.none()

    @extend_schema(
        summary="Compare two rows",
        description="Lays two units of one table of a season's standings side by side: what each counts, and the first "
        "figure in which they differ.",
        parameters=[
            OpenApiParameter("table", int, required=True, description="Which table, counted from 0."),
            OpenApiParameter("unit", str, required=True, description="One unit, as the standings name it."),
            OpenApiParameter("with", str, required=True, description="The other unit of the same table."),
        ],
        responses={200: ComparedRowsSerializer},
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        season = self.one_of(visible(request.user, Season.objects.select_related("association", "scheme")), pk=pk)
        number = request.query_params.get("table", "")
        plain = number.isascii() and number.isdigit() and len(number) < 10
        table = StandingTable.objects.filter(season=season, shown=True, number=int(number) if plain else -1).first()
        if table is None:
            raise ValidationError({"table": [f"{describe(number)} is no table of this season. Count them from 0."]})
        rows = [self._row(table, name) for name in ("unit", "with")]
        if rows[0].unit == rows[1].unit:
            raise ValidationError({"with": ["These are the same unit. Name another one of the table."]})
        one, other = rows_as_closed(season, rows)
        return Response(_document(compare_rows(one, other, season=season)))

    def _row(self, table: StandingTable, name: str) -> PlacedRow:
        unit = self.request.query_params.get(name, "")
        found = None if "\0" in unit else row_of_unit(table, unit)
        if found is None:
            raise ValidationError({name: [f"{describe(unit[:80])} stands in no row of this table. Look it up there."]})
        return found


def _document(comparison: Comparison) -> dict[str, Any]:
    return {
        "sentence": comparison.sentence,
        "steps": [
            {"compared": step.words, "figures": list(step.figures), "decides": step.decides}
            for step in comparison.steps
        ],
        "sides": [_side(side) for side in comparison.sides],
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "unit": side.row.unit,
        "placing": side.row.placing,
        "shared": side.row.shared,
        "value": side.row.value or None,
        "counted": [explained.score.key for explained in side.counted],
    }
