from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import Entry, PanelSeat, Sheet, SheetRevision
from competitions.policy import can, seats_of, visible
from competitions.selectors.sheets import SheetView, sheet_view
from competitions.services.sheets import SheetChanges, save_sheet
from riders.api.access import SignedIn
from riders.api.fields import (
    DecimalIn,
    Figure,
    Input,
    KeywordNames,
    MarkIn,
    OptionalFigure,
    StrictFlag,
    StrictInteger,
    StrictText,
)
from riders.api.filters import NumberOf
from riders.api.idempotency import idempotent
from riders.api.preconditions import etag_of, expected_version, needs_if_match

_LINE = {
    "item": "14",
    "at": "B",
    "text": "Circle right 15 m",
    "directive": "Bend, balance.",
    "coefficient": "2",
    "collective": False,
    "part": "technical",
    "mark": "6.5",
    "points": "13",
    "lost": "7",
    "remark": "more bend",
    "substitute": False,
    "time": 83400,
    "remark_time": 85200,
    "limited": False,
}
_EXAMPLE = {
    "id": 2207,
    "entry": 412,
    "class": 31,
    "seat": "C",
    "judge": "R. Stone",
    "number": "12",
    "rider": "Ada Fenwick",
    "horse": "Copper Lark",
    "marks": {"14": "6.5"},
    "remarks": {"14": "more bend"},
    "overall_remarks": "A pleasant, obedient test.",
    "given_result": None,
    "typed_total": None,
    "substitutes": [],
    "times": {"14": 83400},
    "remark_times": {"14": 85200},
    "overall_time": None,
    "limited": [],
    "filmed_from": "at C, 2.50 m high",
    "errors": 0,
    "lines": [_LINE],
    "summary": {"points": "13", "maximum": "20", "percentage": "65.000", "complete": False, "missing": ["15"]},
    "lost_most": ["14"],
    "signed": False,
    "version": 8,
    "changed_at": "2027-03-06T10:12:31Z",
}
_SHOWN = (
    *("seat", "judge", "number", "rider", "horse", "given_result", "typed_total", "errors", "summary"),
    *("overall_time", "filmed_from", "signed", "version", "changed_at"),
)
_TIME = "Whole milliseconds from the beginning of the recording."
_ENTIRELY_GIVEN = {"given_result": {"percentage": "67.273"}, "reason": "only the result was handed in"}


class SheetLineSerializer(serializers.Serializer[Any]):
    """One item of the sheet with its mark, the points it is worth and the points lost."""

    item = serializers.CharField(source="item_id")
    at = serializers.CharField()
    text = serializers.CharField()
    directive = serializers.CharField()
    coefficient = Figure()
    collective = serializers.BooleanField()
    part = serializers.CharField()
    mark = OptionalFigure()
    points = OptionalFigure()
    lost = OptionalFigure()
    remark = serializers.CharField()
    substitute = serializers.BooleanField(help_text="The office put the mark in for the judge.")
    time = serializers.IntegerField(allow_null=True, help_text=_TIME)
    remark_time = serializers.IntegerField(allow_null=True, help_text=_TIME)
    limited = serializers.BooleanField(help_text="The camera showed too little of it.")


class SheetSummarySerializer(serializers.Serializer[Any]):
    """The figures of the sheet; of an incomplete one over the items marked so far."""

    points = OptionalFigure()
    maximum = Figure()
    percentage = OptionalFigure()
    complete = serializers.BooleanField()
    missing = serializers.ListField(child=serializers.CharField(), help_text="Items without a mark.")


class TimeIn(StrictInteger):
    """A moment of a recording."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=24 * 60 * 60 * 1000, **kwargs)


class GivenResultSerializer(Input):
    """The result of a sheet of which nothing else is known: its points or its percentage."""

    points = DecimalIn(required=False)
    percentage = DecimalIn(required=False)

    def validate(self, attrs: dict[str, str]) -> dict[str, str]:
        if len(attrs) != 1:
            raise serializers.ValidationError("Give either the points or the percentage of the sheet.")
        return attrs


@extend_schema_serializer(examples=[OpenApiExample("A sheet", value=_EXAMPLE)])
class SheetSerializer(KeywordNames, serializers.Serializer[Any]):
    """What one seat writes about one entry. Version 0 is a sheet on which nothing has been written."""

    id = serializers.IntegerField(allow_null=True, help_text="Null while nothing has been written.")
    entry = serializers.IntegerField()
    class_ = serializers.IntegerField()
    seat = serializers.CharField()
    judge = serializers.CharField()
    number = serializers.CharField()
    rider = serializers.CharField()
    horse = serializers.CharField()
    marks = serializers.DictField(child=Figure(), help_text="Marks by item; an item without a mark is absent.")
    remarks = serializers.DictField(child=serializers.CharField(), help_text="Remarks by item.")
    overall_remarks = serializers.CharField()
    given_result = GivenResultSerializer(allow_null=True)
    typed_total = OptionalFigure(help_text="The total on the paper sheet, as typed, to compare with ours.")
    substitutes = serializers.ListField(child=serializers.CharField(), help_text="Items whose mark the office put in.")
    times = serializers.DictField(child=serializers.IntegerField(), help_text=f"When each item was marked. {_TIME}")
    remark_times = serializers.DictField(
        child=serializers.IntegerField(), help_text=f"When each remark was begun. {_TIME}"
    )
    overall_time = serializers.IntegerField(allow_null=True, help_text=f"When the overall remarks were begun. {_TIME}")
    limited = serializers.ListField(
        child=serializers.CharField(), help_text="Items of which the camera showed too little."
    )
    filmed_from = serializers.CharField(
        help_text="Where the camera stood whose recording was judged; empty for a ride seen at the arena."
    )
    errors = serializers.IntegerField(help_text="Errors of course of the entry.")  # type: ignore[assignment]
    lines = SheetLineSerializer(many=True)
    summary = SheetSummarySerializer()
    lost_most = serializers.ListField(
        child=serializers.CharField(), help_text="Items that cost most, the costliest first."
    )
    signed = serializers.BooleanField()
    version = serializers.IntegerField()
    changed_at = serializers.DateTimeField(allow_null=True)


@extend_schema_serializer(
    examples=[
        OpenApiExample("A mark and a remark", value={"marks": {"14": "6.5"}, "remarks": {"14": "more bend"}}),
        OpenApiExample("Take a mark away", value={"marks": {"14": None}}),
        OpenApiExample("Only the result is known", value=_ENTIRELY_GIVEN),
        OpenApiExample("A moment of the recording", value={"times": {"14": 83400}, "limited": ["15"]}),
    ]
)
class SheetInput(Input):
    """What to change; what is left out stays. A mark of null and a remark of "" are taken away."""

    marks = serializers.DictField(child=MarkIn(allow_null=True), required=False, help_text="Marks by item.")
    remarks = serializers.DictField(
        child=StrictText(allow_blank=True, max_length=1000, trim_whitespace=False), required=False
    )
    overall_remarks = StrictText(allow_blank=True, max_length=5000, required=False, trim_whitespace=False)
    given_result = GivenResultSerializer(required=False, allow_null=True)
    typed_total = StrictText(allow_blank=True, max_length=20, required=False)
    signed = StrictFlag(required=False)
    substitutes = serializers.ListField(
        child=StrictText(max_length=40), required=False, max_length=200, help_text="For the office only."
    )
    times = serializers.DictField(child=TimeIn(allow_null=True), required=False, help_text=f"By item. {_TIME}")
    remark_times = serializers.DictField(child=TimeIn(allow_null=True), required=False, help_text=f"By item. {_TIME}")
    overall_time = TimeIn(required=False, allow_null=True, help_text=_TIME)
    limited = serializers.ListField(
        child=StrictText(max_length=40),
        required=False,
        max_length=200,
        help_text="All items of which the camera showed too little.",
    )
    reason = StrictText(
        allow_blank=True, max_length=300, required=False, help_text="Why, for the history of the sheet."
    )


class SheetFilter(django_filters.FilterSet):
    competition = django_filters.CharFilter(
        "entry__competition_class__competition__slug", label="Id of the competition."
    )
    class_ = NumberOf("entry__competition_class", label="Number of the class.")
    entry = NumberOf("entry", label="Number of the entry.")
    seat = django_filters.CharFilter("seat__seat", label="Letter of the seat.")
    signed = django_filters.BooleanFilter("signed", label="Signed or not.")

    class Meta:
        model = Sheet
        fields: list[str] = []


# "class" is a word of Python, so the filter of that name is put in afterwards
SheetFilter.base_filters["class"] = SheetFilter.base_filters.pop("class_")


class Sheets(CompetitionResource):
    """Judges' sheets: private to the judge of the seat, the office, staff, and the rider once results are official."""

    tag = "Sheets"
    access = {"list": SignedIn, "retrieve": SignedIn, "partial_update": SignedIn}
    serializer_class = SheetSerializer
    filterset_class = SheetFilter
    queryset = Sheet.objects.none()

    def get_queryset(self) -> QuerySet[Sheet]:
        sheets = Sheet.objects.select_related(
            "seat__judge",
            "entry__pair__rider",
            "entry__pair__horse",
            "entry__competition_class__competition",
            "entry__competition_class__test",
            "entry__competition_class__rule_set",
        )
        sheets = sheets.prefetch_related("entry__recordings")
        return visible(self.request.user, sheets).order_by("entry_id", "seat__order", "pk")

    @extend_schema(
        summary="List sheets",
        description="The sheets that you may read, by entry and seat: as a judge those of your seats, as a rider "
        "your own once results are official, as the office those of your competitions.",
    )
    def list(self, request: Request) -> Response:
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([sheet_document(sheet) for sheet in page or ()])

    @extend_schema(
        summary="Read a sheet",
        description="The sheet of one entry at one seat. While nothing has been written on it the judge and the "
        'office get an empty one of version 0. Its ETag is what a change names in If-Match (`"0"` for the first).',
    )
    def retrieve(self, request: Request, pk: int, seat: str) -> Response:
        sheet = self._sheet(request, *self._place(request, pk, seat))
        return _answer(sheet)

    @extend_schema(
        summary="Write on a sheet",
        description="Changes what is given and leaves the rest, if the sheet is still at the version named in "
        "If-Match; the class is worked out anew. Every mark off its scale is refused with its item, and then "
        "nothing is written. For the judge of the seat while the class is open, and the office.",
        request=SheetInput,
        responses={200: SheetSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, pk: int, seat: str) -> Response:
        entry, found = self._place(request, pk, seat)
        self._sheet(request, entry, found)
        self.demand(
            can(request.user, "mark", found),
            "You cannot write on this sheet now: it is for the judge of the seat while the class is open, and the "
            "office.",
        )
        fields = self.read(SheetInput)
        self.demand(
            "substitutes" not in fields or can(request.user, "run", entry), "Only the office puts in marks for a judge."
        )
        reason = fields.pop("reason", "")
        with stale_as_412(sheet_document):
            saved = save_sheet(
                entry=entry,
                seat=found,
                expected_version=expected_version(request),
                changes=SheetChanges(**fields),
                by=self.account,
                source=SheetRevision.Source.API,
                reason=reason,
            )
        return _answer(saved.sheet)

    def _place(self, request: Request, pk: int, seat: str) -> tuple[Entry, PanelSeat]:
        entry = self.entry(request, pk)
        seats = entry.competition_class.seats.select_related("judge", "competition_class__competition")
        return entry, self.one_of(seats, seat=seat)

    def _sheet(self, request: Request, entry: Entry, seat: PanelSeat) -> Sheet:
        """Return the sheet as far as this user may know of it; who writes on it may see it before it is there."""
        sheet = self.get_queryset().filter(entry=entry, seat=seat).first()
        if sheet is not None:
            return sheet
        writes = can(request.user, "run", entry) or seats_of(request.user).filter(pk=seat.pk).exists()
        if not writes:
            raise NotFound
        return Sheet(entry=entry, seat=seat)


def sheet_document(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as the API shows it."""
    view = sheet_view(sheet)
    return dict(SheetSerializer({**_marks(view), **_place(sheet), **_figures(view)}).data)


def _place(sheet: Sheet) -> dict[str, Any]:
    return {
        "id": sheet.pk,
        "entry": sheet.entry_id,
        "class": sheet.entry.competition_class_id,
        "substitutes": sheet.substitutes,
        "times": sheet.times,
        "remark_times": sheet.remark_times,
        "limited": sheet.limited,
        "overall_remarks": sheet.overall_remarks,
    }


def _marks(view: SheetView) -> dict[str, Any]:
    return {
        "marks": {line.item_id: line.mark for line in view.lines if line.mark is not None},
        "remarks": {line.item_id: line.remark for line in view.lines if line.remark},
        "lines": view.lines,
        "lost_most": [line.item_id for line in view.lost],
    }


def _figures(view: SheetView) -> dict[str, Any]:
    return {name: getattr(view, name) for name in _SHOWN}


def _answer(sheet: Sheet) -> Response:
    return Response(sheet_document(sheet), headers={"ETag": etag_of(sheet.version)})
