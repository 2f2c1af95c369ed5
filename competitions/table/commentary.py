"""What was said over a ride, laid on its sheet: the page asks, nothing is written and nothing goes elsewhere."""

from __future__ import annotations

import json
from collections.abc import Mapping

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse

from competitions import policy
from competitions.models import PanelSeat
from competitions.selectors.commentary import commentary_proposal
from competitions.table.days import seats_to_write
from competitions.table.views import TableData, refusal
from riders.errors import InvalidInput


class ProposalView(TableData):
    """``table-commentary-proposal``: takes ``{"text": ...}`` and answers with each sentence on its movement."""

    http_method_names = ["post", "options"]

    def post(self, request: HttpRequest, slug: str, number: str, entry: str, seat: str) -> HttpResponse:
        found = self._seat(slug, number, entry, seat)
        if not policy.can(self.person, "mark", found):
            return refusal(
                "closed", "The results of this class are official, so its sheets stay as they are.", status=403
            )
        try:
            document = json.loads(request.body)
        except ValueError:
            document = None
        text = document.get("text") if isinstance(document, Mapping) else None
        if not isinstance(text, str):
            return refusal("invalid", "What was sent is not JSON with a text.", status=400)
        try:
            return JsonResponse(commentary_proposal(found, text))
        except InvalidInput as error:
            sentences = [sentence for _, sentence in error.problems]
            return refusal(error.code, error.message, status=400, problems=sentences)

    def _seat(self, slug: str, number: str, entry: str, seat: str) -> PanelSeat:
        seats = seats_to_write(self.person).filter(
            competition_class__competition__slug=slug,
            competition_class__number=number,
            competition_class__entries__number=entry,
            seat=seat,
        )
        found = seats.select_related("judge", "competition_class__competition", "competition_class__test").first()
        if found is None:
            raise Http404
        return found
