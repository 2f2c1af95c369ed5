from __future__ import annotations

import re
from typing import Any, Literal

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse

from riders.api.access import Anyone
from riders.api.openapi import IDEMPOTENCY_KEY, IF_MATCH, IF_NONE_MATCH, REFUSALS
from riders.api.views import Resource

_READ = "What was asked for."
_CHANGED = "Done; the answer shows how it stands now."


class DescribedSchema(AutoSchema):
    """Adds to every operation what follows from how it is declared: who may call it, its headers and its refusals."""

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation: dict[str, Any] | None = super().get_operation(*args, **kwargs)
        access = self._access()
        if operation is None or access is None:
            return operation
        operation["description"] = f"{operation.get('description', '')}\n\nWho may call it: {access.words}"
        for parameter in operation.get("parameters", []):
            if parameter["name"] == "format":
                parameter.setdefault("description", "The type of the answer, where the header Accept cannot be set.")
        for status, response in operation["responses"].items():
            if status.startswith("2") and not response.get("description"):
                response["description"] = _READ if self.method == "GET" else _CHANGED
        return operation

    def get_operation_id(self) -> str:
        """Return the resource and what is done with it, such as ``entries_outcome``: names for a generated client."""
        resource = re.sub(r"(?<!^)(?=[A-Z])", "_", type(self.view).__name__).lower()
        return f"{resource}_{getattr(self.view, 'action', self.method.lower())}"

    def get_tags(self) -> list[str]:
        return [getattr(self.view, "tag", "Other")]

    def get_auth(self) -> list[dict[str, Any]]:
        auth: list[dict[str, Any]] = super().get_auth()
        return [*auth, {}] if self._access() is Anyone and {} not in auth else auth

    def get_override_parameters(self) -> list[Any]:
        headers = {"idempotent": IDEMPOTENCY_KEY, "needs_if_match": IF_MATCH, "conditional": IF_NONE_MATCH}
        return [*super().get_override_parameters(), *(header for name, header in headers.items() if self._is(name))]

    def _get_response_bodies(self, direction: Literal["request", "response"] = "response") -> dict[str, Any]:
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


def share_refusals(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Let every operation point to one text of each refusal instead of repeating it (a hook of drf-spectacular)."""
    shared: dict[str, Any] = result["components"].setdefault("responses", {})
    for operation in (operation for path in result["paths"].values() for operation in path.values()):
        for status, response in operation.get("responses", {}).items():
            if status.startswith("4"):
                name = f"Refusal{status}"
                if shared.setdefault(name, response) == response:
                    operation["responses"][status] = {"$ref": f"#/components/responses/{name}"}
    return result
