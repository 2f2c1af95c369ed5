from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import CompetitionClass, Entry, PanelSeat, SecondKeying
from competitions.selectors.keyings import DIFFERS, FINAL, WAITING, chosen_sheets, keyings_of_class
from competitions.selectors.keyings import Keyings as Compared
from competitions.services.keyings import Settlement, choose_sheets, key_again, settle_differences
from riders.api.access import SignedIn
from riders.api.fields import Input, StrictInteger, StrictText
from riders.api.idempotency import idempotent

_DECIDED = {"field": "mark.2", "label": "Mark, movement 2", "first": "6.5", "second": "6.0", "value": "6.0"}
_EXAMPLE = {
    "entry": 412,
    "number": "12",
    "seat": "C",
    "state": "differs",
    "keying": 9,
    "keyed_by": "Casper Wendt",
    "keyed_at": "2027-03-06T12:10:00Z",
    "differences": [{"field": "mark.1", "label": "Mark, movement 1", "first": "6.5", "second": "7.0"}],
    "decisions": [{**_DECIDED, "reason": "the paper is clear", "by": "Mara Quill", "at": "2027-03-06T12:15:00Z"}],
}
_READ = {"mark.1": "6.5", "mark.2": "7", "errors": "1", "deducted": "2", "total": "186.5", "signed": "yes"}
_SETTLED = {"field": "mark.1", "first": "6.5", "second": "7.0", "value": "7.0", "reason": "the paper is clear"}
_LONGEST = 5000


class KeyingDifferenceSerializer(serializers.Serializer[Any]):
    """One field in which the two keyings differ, as text; empty says nothing."""

    field = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    first = serializers.CharField()
    second = serializers.CharField()


class KeyingDecisionSerializer(KeyingDifferenceSerializer):
    """What the paper says where the keyings differed, with the reason."""

    value = serializers.CharField()
    reason = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


@extend_schema_serializer(examples=[OpenApiExample("A sheet keyed twice", value=_EXAMPLE)])
class KeyingsSerializer(serializers.Serializer[Any]):
    """A sheet of paper that is keyed twice."""

    entry = serializers.IntegerField()
    number = serializers.CharField()
    seat = serializers.CharField()
    state = serializers.ChoiceField(
        [WAITING, DIFFERS, FINAL], help_text="Waiting for its second keying, differing, or final."
    )
    keying = serializers.IntegerField(allow_null=True, help_text="Number of the second keying that counts.")
    keyed_by = serializers.CharField()
    keyed_at = serializers.DateTimeField(allow_null=True)
    differences = KeyingDifferenceSerializer(many=True)
    decisions = KeyingDecisionSerializer(many=True)


@extend_schema_serializer(examples=[OpenApiExample("What the paper says", value={"read": _READ, "keying": 0})])
class SecondKeyingInput(Input):
    """A sheet as read from the paper, without sight of the first keying."""

    read = serializers.DictField(
        child=StrictText(allow_blank=True, max_length=_LONGEST, trim_whitespace=False),
        help_text="Text by field: `mark.<item>`, `errors`, `deducted` (points), `deducted-percent`, `total`, `signed` "
        '(yes), `given` (such as "points 186.5"); with remarks also `remark.<item>` and `overall`. What is left out '
        "says nothing.",
    )
    keying = StrictInteger(
        min_value=0, required=False, help_text="The last second keying that you know of; 0 is none. Another is 412."
    )


class _SettlementInput(Input):
    field = StrictText(max_length=60)
    first = StrictText(max_length=_LONGEST, allow_blank=True, help_text="What stood there when you looked.")
    second = StrictText(max_length=_LONGEST, allow_blank=True)
    value = StrictText(max_length=_LONGEST, allow_blank=True, help_text="What the paper says.")
    reason = StrictText(max_length=300)


@extend_schema_serializer(examples=[OpenApiExample("The paper says 7", value={"keying": 9, "settlements": [_SETTLED]})])
class SettlementsInput(Input):
    keying = StrictInteger(min_value=1, help_text="The second keying that you looked at.")
    settlements = _SettlementInput(many=True, max_length=300)  # type: ignore[call-arg]


class SheetPlaceSerializer(Input):
    entry = StrictInteger(min_value=1)
    seat = StrictText(max_length=10)


@extend_schema_serializer(examples=[OpenApiExample("One sheet", value={"sheets": [{"entry": 412, "seat": "C"}]})])
class ChosenSheetsSerializer(Input):
    """The sheets of a class that are chosen to be keyed twice."""

    sheets = SheetPlaceSerializer(many=True, max_length=2000)  # type: ignore[call-arg]


class Keyings(CompetitionResource):
    """The sheets of a class that are keyed twice by two persons."""

    tag = "Sheets"
    access = {"list": SignedIn, "choose": SignedIn}
    serializer_class = KeyingsSerializer
    pagination_class = None
    queryset = CompetitionClass.objects.none()

    @extend_schema(
        summary="List sheets keyed twice",
        description="Every complete sheet of paper of the class that has to be keyed twice, with what differs and what "
        "was decided. A sheet is final when both keyings agree or each difference is decided; one that is changed "
        "after that differs again. For the office.",
        responses={200: KeyingsSerializer(many=True)},
        filters=False,
    )
    def list(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        return Response(KeyingsSerializer([shown(keyings) for keyings in keyings_of_class(found)], many=True).data)

    @extend_schema(
        summary="Choose sheets to be keyed twice",
        description="Lets exactly these sheets be keyed twice, in a class that keys chosen sheets twice. For the "
        "office.",
        request=ChosenSheetsSerializer,
        responses={200: ChosenSheetsSerializer},
    )
    @idempotent
    def choose(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        seats = {seat.seat: seat.pk for seat in found.seats.all()}
        given = self.read(ChosenSheetsSerializer)["sheets"]
        choose_sheets(found, places={(sheet["entry"], seats.get(sheet["seat"], 0)) for sheet in given}, by=self.account)
        letters = {pk: letter for letter, pk in seats.items()}
        chosen = [{"entry": entry, "seat": letters[seat]} for entry, seat in sorted(chosen_sheets(found))]
        return Response({"sheets": chosen})

    def _office_class(self, request: Request, pk: int) -> CompetitionClass:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        return found


class SheetKeyings(CompetitionResource):
    """Keying one sheet a second time, and deciding where two keyings differ."""

    tag = "Sheets"
    access = {"second_keying": SignedIn, "settlements": SignedIn}
    serializer_class = KeyingsSerializer
    queryset = SecondKeying.objects.none()

    @extend_schema(
        summary="Key a sheet a second time",
        description="Keeps what a second person read from the paper and compares it with the first keying, which stays "
        "as it is. Refused to everyone who wrote on the sheet or has opened its first keying. Whoever keys through a "
        "program sees to it that the person does not read the sheet here before. For the office.",
        request=SecondKeyingInput,
        responses={200: KeyingsSerializer},
    )
    @idempotent
    def second_keying(self, request: Request, pk: int, seat: str) -> Response:
        entry, found = self._place(request, pk, seat)
        given = self.read(SecondKeyingInput)
        with stale_as_412(lambda last: last and {"keying": last.pk}, version=lambda _: None):
            done = key_again(entry=entry, seat=found, read=given["read"], by=self.account, seen=given.get("keying"))
        return Response(KeyingsSerializer(shown(done)).data)

    @extend_schema(
        summary="Decide where two keyings differ",
        description="Says for each field what the paper says, with the reason; that is written on the sheet. Where "
        "the second keying, or what stood side by side, is another by now, the answer is 412 with both as they "
        "stand. Each deduction has its own reason: change those as an outcome. For the office.",
        request=SettlementsInput,
        responses={200: KeyingsSerializer},
    )
    @idempotent
    def settlements(self, request: Request, pk: int, seat: str) -> Response:
        entry, found = self._place(request, pk, seat)
        given = self.read(SettlementsInput)
        with stale_as_412(lambda now: KeyingsSerializer(shown(now)).data, version=lambda _: None):
            done = settle_differences(
                entry=entry,
                seat=found,
                settlements=[Settlement(**settlement) for settlement in given["settlements"]],
                by=self.account,
                keying=given["keying"],
            )
        if done is None:
            waiting = {"entry": entry.pk, "number": entry.number, "seat": found.seat, "state": WAITING}
            empty: dict[str, object] = {
                "keying": None,
                "keyed_by": "",
                "keyed_at": None,
                "differences": [],
                "decisions": [],
            }
            return Response(waiting | empty)
        return Response(KeyingsSerializer(shown(done)).data)

    def _place(self, request: Request, pk: int, seat: str) -> tuple[Entry, PanelSeat]:
        entry = self.entry(request, pk)
        self.demand_office(request, entry.competition_class.competition)
        return entry, self.one_of(entry.competition_class.seats.select_related("competition_class"), seat=seat)


def shown(keyings: Compared) -> dict[str, Any]:
    """Return a sheet that is keyed twice as the API shows it."""
    keying = keyings.keying
    return {
        "entry": keyings.entry.pk,
        "number": keyings.entry.number,
        "seat": keyings.seat.seat,
        "state": keyings.state,
        "keying": keying.pk if keying else None,
        "keyed_by": str(keying.by or "") if keying else "",
        "keyed_at": keying.at if keying else None,
        "differences": keyings.differences,
        "decisions": [
            {
                "field": row.field,
                "label": keyings.labels.get(row.field, row.field),
                "first": row.first,
                "second": row.second,
                "value": row.value,
                "reason": row.reason,
                "by": str(row.by or ""),
                "at": row.at,
            }
            for row in keyings.decisions
        ],
    }
