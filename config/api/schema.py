from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse

from riders.api.access import Anyone
from riders.api.openapi import IDEMPOTENCY_KEY, IF_MATCH, IF_NONE_MATCH, REFUSALS
from riders.api.views import Resource


class DescribedSchema(AutoSchema):
    """Adds to every operation what follows from how it is declared: who may call it, its headers and its refusals."""

    def get_description(self) -> str:
        text: str = super().get_description()
        access = self._access()
        return f"{text}\n\nFor: {access.words}" if access else text

    def get_tags(self) -> list[str]:
        return [getattr(self.view, "tag", "Other")]

    def get_auth(self) -> list[dict[str, Any]]:
        auth: list[dict[str, Any]] = super().get_auth()
        return [*auth, {}] if self._access() is Anyone and {} not in auth else auth

    def get_override_parameters(self) -> list[Any]:
        headers = {"idempotent": IDEMPOTENCY_KEY, "needs_if_match": IF_MATCH, "conditional": IF_NONE_MATCH}
        return [*super().get_override_parameters(), *(header for name, header in headers.items() if self._is(name))]

    def _get_response_bodies(self, direction: str = "response") -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        if direction == "response":
            for status in self._refusals():
                if str(status) not in bodies:
                    bodies[str(status)] = self._get_response_for_code(REFUSALS[status], str(status))
            if self._is("conditional"):
                bodies["304"] = self._get_response_for_code(
                    OpenApiResponse(description="What you hold is still current."), "304"
                )
        return dict(sorted(bodies.items()))

    def _refusals(self) -> list[int]:
        writes = self.method in {"POST", "PUT", "PATCH", "DELETE"}
        public = self._access() is Anyone
        found = [401, 406, 429] + ([] if public and not writes else [403])
        found += [404] if "{" in self.path else []
        found += [400] if writes or self._is_list_view() else []
        found += [413, 415] if self.method in {"POST", "PUT", "PATCH"} else []
        found += [409, 422] if self._is("idempotent") else []
        found += [412, 428] if self._is("needs_if_match") else []
        return sorted(found)

    def _is(self, name: str) -> bool:
        return bool(getattr(self._operation(), name, False))

    def _operation(self) -> object:
        return getattr(self.view, getattr(self.view, "action", "") or "", None)

    def _access(self) -> Any:
        return self.view.access.get(self.view.action) if isinstance(self.view, Resource) else None
