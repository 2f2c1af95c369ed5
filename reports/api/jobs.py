from __future__ import annotations

import hashlib
from typing import Any

import django_filters
from django.core.files.storage import default_storage
from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import APIException, NotFound
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from reports.kind import MEDIA_TYPES, media_type_of
from reports.kinds import KINDS
from reports.models import Job
from reports.policy import can_view
from reports.services import request_report, retry_job
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, StrictInteger
from riders.api.idempotency import idempotent
from riders.api.preconditions import conditional, etag_of, names_current
from riders.api.renderers import CSVRenderer
from riders.api.views import Resource

_LARGEST = 2**63 - 1
_EXAMPLE = {
    "id": "3f1c7a52-5a55-4d9c-9a6e-0b6f6f3b7c11",
    "kind": "results",
    "target": 31,
    "options": {},
    "state": "done",
    "progress": 100,
    "message": "",
    "requested_at": "2027-03-06T15:03:00Z",
    "finished_at": "2027-03-06T15:03:01Z",
    "file_name": "Larkfield Spring Show, class 3, results, official 1.pdf",
    "file": "https://show.example/api/v1/reports/3f1c7a52-5a55-4d9c-9a6e-0b6f6f3b7c11/file/",
}


_WORKBOOK = OpenApiExample("A workbook", value="PK...", media_type=MEDIA_TYPES["xlsx"])
_CSV = OpenApiExample(
    "The first place",
    value="level,place,shared,unit,rider,horse,value,qualified,counted,missing\r\n"
    "novice,1,false,R-2041-H-3310,Una Lind,Fen,68.125,true,8,\r\n",
    media_type="text/csv",
)


class NotReady(APIException):
    status_code = 409
    default_code = "not-ready"
    default_detail = "The report is not made yet. Read its state, and fetch the file when it is done."


class PDFRenderer(BaseRenderer):
    """Offers ``application/pdf``; the view itself sends the file."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None
    render_style = "binary"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return bytes(data or b"")


class WorkbookRenderer(PDFRenderer):
    """As :class:`PDFRenderer`, for lists that are workbooks."""

    media_type = MEDIA_TYPES["xlsx"]
    format = "xlsx"


@extend_schema_serializer(examples=[OpenApiExample("A finished report", value=_EXAMPLE)])
class JobSerializer(serializers.ModelSerializer[Job]):
    """The work of making one report. The same report asked for twice is the same job."""

    kind = serializers.ChoiceField(list(KINDS), read_only=True)
    options = DocumentField(read_only=True)
    progress = serializers.IntegerField(read_only=True, help_text="Per cent.")
    file = serializers.SerializerMethodField(help_text="Address of the file; null until it is made.")

    class Meta:
        model = Job
        fields = [*_EXAMPLE]
        read_only_fields = fields

    def get_file(self, job: Job) -> str | None:
        if job.state != Job.State.DONE:
            return None
        return str(reverse("api-report-file", kwargs={"pk": job.pk}, request=self.context.get("request")))


_ACCEPTED = OpenApiResponse(
    JobSerializer,
    "It is in the queue, or made already; Location names where to read its state.",
    [OpenApiExample("In the queue", value={**_EXAMPLE, "state": "queued", "progress": 0, "file": None})],
)


class OptionsInput(Input):
    season = StrictInteger(
        min_value=1, max_value=_LARGEST, required=False, help_text="Number of the season, for a season statement."
    )
    format = serializers.ChoiceField(
        ["pdf", "xlsx", "csv"],
        required=False,
        help_text="Of a list of a season: the kind of file; PDF if not said.",
    )
    edition = StrictInteger(
        min_value=0,
        max_value=2**31 - 1,
        required=False,
        help_text="Of a document of a season: its edition. If not said the one in force, or 0 while the season is "
        "open: the list as it stands, not final.",
    )
    table = StrictInteger(
        min_value=0,
        max_value=2**31 - 1,
        required=False,
        help_text="Of a document of a season: one table only, counted from 0 as in its standings.",
    )
    places = StrictInteger(
        min_value=1, max_value=10_000, required=False, help_text="Of awards and certificates: the first places only."
    )
    order = serializers.ChoiceField(
        ["name", "standings"], required=False, help_text="Of a qualified list: its order; by name if not said."
    )
    of = serializers.ChoiceField(
        ["placed", "qualified"], required=False, help_text="Of certificates: for whom; for the placed if not said."
    )


@extend_schema_serializer(
    examples=[
        OpenApiExample("The result list of class 31", value={"kind": "results", "target": 31}),
        OpenApiExample(
            "A season statement", value={"kind": "season-statement", "target": 104, "options": {"season": 5}}
        ),
        OpenApiExample(
            "The first three places of a closed season as a workbook",
            value={"kind": "season-awards", "target": 5, "options": {"format": "xlsx", "places": 3}},
        ),
    ]
)
class ReportInput(Input):
    kind = serializers.ChoiceField(list(KINDS))
    target = StrictInteger(
        min_value=1,
        max_value=_LARGEST,
        help_text="Number of what it is about: the class (results, working, running-order), the championship "
        "(championship), the sheet (sheet), the entry (sheets), the pair (season-statement), the season "
        "(season-standings, season-awards, season-qualified, season-certificates).",
    )
    options = OptionsInput(required=False)


class JobFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(
        "kind", choices=[(kind.name, kind.title) for kind in KINDS.values()], label="Kind of report."
    )
    state = django_filters.ChoiceFilter("state", choices=Job.State.choices, label="State of the work.")

    class Meta:
        model = Job
        fields: list[str] = []


class Reports(Resource):
    """Reports: asked for, made by a worker, fetched when done. Who may read what a report shows may have it."""

    tag = "Reports"
    access = {"list": SignedIn, "create": Anyone, "retrieve": Anyone, "retry": Anyone, "file": Anyone}
    serializer_class = JobSerializer
    filterset_class = JobFilter
    queryset = Job.objects.none()

    def get_renderers(self) -> list[BaseRenderer]:
        files = [PDFRenderer(), WorkbookRenderer(), CSVRenderer(), JSONRenderer()]
        return files if self.action == "file" else super().get_renderers()

    @extend_schema(
        summary="List your reports",
        description="The reports that you asked for first, the latest first, with the state of each.",
    )
    def list(self, request: Request) -> Response:
        jobs: QuerySet[Job] = Job.objects.filter(requested_by=request.user).order_by("-requested_at", "pk")  # type: ignore[misc]
        return self.listed(jobs, JobSerializer)

    @extend_schema(
        summary="Ask for a report",
        description="Puts the report in the queue, or finds the one that shows the present version already. "
        "Location names where to read its state. Result lists and running orders of published competitions are "
        "open to everyone, and so are the standings of a season; awards and qualified lists are once it is closed. "
        "Sheets and statements are open to those who may read them, certificates to those who keep the season.",
        request=ReportInput,
        responses={202: _ACCEPTED},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        given = self.read(ReportInput)
        job = request_report(kind=given["kind"], target=given["target"], options=given.get("options"), by=request.user)
        return self._accepted(job)

    @extend_schema(
        summary="Read the state of a report",
        description="How far the work has come: queued, running, done or failed, and per cent. A failed one says "
        "why and what to do.",
    )
    def retrieve(self, request: Request, pk: Any) -> Response:
        return self.shown(self._job(request, pk), JobSerializer)

    @extend_schema(
        summary="Try a failed report again",
        description="Puts a failed report, or one whose file is gone, back in the queue. Any other is left as it is.",
        request=None,
        responses={202: _ACCEPTED},
    )
    @idempotent
    def retry(self, request: Request, pk: Any) -> Response:
        return self._accepted(retry_job(self._job(request, pk), by=request.user))

    @extend_schema(
        summary="Fetch the file of a report",
        description="The finished file. While the report is not done the answer is 409; read its state until it is.",
        responses={
            (200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY, "The file."),
            (200, WorkbookRenderer.media_type): OpenApiResponse(
                OpenApiTypes.BINARY, "A list of a season, as it was asked for.", examples=[_WORKBOOK]
            ),
            (200, "text/csv"): OpenApiResponse(
                OpenApiTypes.STR, "A list of a season, as it was asked for.", examples=[_CSV]
            ),
            409: OpenApiResponse(
                description="The report is not made yet, or its file is gone and has to be made again.",
            ),
        },
    )
    @conditional
    def file(self, request: Request, pk: Any) -> HttpResponseBase:
        job = self._job(request, pk)
        if job.state != Job.State.DONE:
            raise NotReady
        headers = {"ETag": etag_of(job.digest), "Cache-Control": "private, no-cache"}
        if names_current(request, headers["ETag"]):
            return HttpResponse(status=304, headers=headers)
        content = _whole_file(job)
        if content is None:
            raise NotReady("The file is gone. Have the report made again: POST to its retry address.", "file-gone")
        disposition = content_disposition_header(as_attachment=True, filename=job.file_name)
        return HttpResponse(
            content,
            content_type=media_type_of(job.file_name),
            headers={**headers, "Content-Disposition": disposition or "attachment"},
        )

    def _job(self, request: Request, pk: Any) -> Job:
        job = self.one_of(Job.objects.all(), pk=pk)
        if not can_view(request.user, job):
            raise NotFound
        return job

    def _accepted(self, job: Job) -> Response:
        response = self.shown(job, JobSerializer, status=202)
        response["Location"] = f"/api/v1/reports/{job.pk}/"
        return response


def _whole_file(job: Job) -> bytes | None:
    """Return the file if it is there and is what was made; a damaged one is removed, so that it is made anew."""
    if not default_storage.exists(job.file):
        return None
    with default_storage.open(job.file) as kept:
        content: bytes = kept.read()
    if hashlib.sha256(content).hexdigest() == job.digest:
        return content
    default_storage.delete(job.file)
    return None
