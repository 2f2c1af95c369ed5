from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client
from drf_spectacular.validation import validate_schema

from config import api
from tests.api.test_declared import api_patterns

COMMITTED = Path(api.__file__).parent / "openapi.yaml"
DOCUMENT: dict[str, Any] = yaml.safe_load(COMMITTED.read_text(encoding="utf-8"))
OPERATIONS = {
    f"{method.upper()} {path}": operation
    for path, operations in DOCUMENT["paths"].items()
    for method, operation in operations.items()
}


def resolved(value: dict[str, Any]) -> dict[str, Any]:
    """Follow a reference inside the document."""
    while "$ref" in value:
        value = at(value["$ref"])
    return value


def at(reference: str) -> dict[str, Any]:
    found: Any = DOCUMENT
    for step in reference.removeprefix("#/").split("/"):
        found = found[step]
    return dict(found)


def test_the_committed_document_is_current_and_without_a_warning(tmp_path: Path) -> None:
    """When this fails the API has changed: manage.py spectacular --file config/api/openapi.yaml, and read the diff."""
    fresh = tmp_path / "openapi.yaml"
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(fresh))
    assert fresh.read_text(encoding="utf-8") == COMMITTED.read_text(encoding="utf-8")


def test_the_committed_document_is_valid() -> None:
    validate_schema(DOCUMENT)


def test_every_operation_is_in_the_document() -> None:
    served = {
        (pattern.name, method.upper())
        for pattern in api_patterns()
        for method in getattr(pattern.callback, "actions", {})
        if method != "head"
    }
    assert len(served) == len(OPERATIONS) > 60
    assert len({operation["operationId"] for operation in OPERATIONS.values()}) == len(OPERATIONS)


@pytest.mark.parametrize("name", OPERATIONS)
def test_a_stranger_understands_an_operation(name: str) -> None:
    operation = OPERATIONS[name]
    assert 5 <= len(operation["summary"]) <= 60
    assert "Who may call it: " in operation["description"]
    assert len(operation["description"].split("\n\nWho")[0]) >= 40
    assert operation["tags"][0] in {tag["name"] for tag in DOCUMENT["tags"]}
    for parameter in operation.get("parameters", []):
        assert parameter.get("description") or parameter["in"] == "path", parameter["name"]


@pytest.mark.parametrize("name", OPERATIONS)
def test_an_operation_has_examples(name: str) -> None:
    operation = OPERATIONS[name]
    for content in operation.get("requestBody", {}).get("content", {}).values():
        assert content["examples"]
    for status, response in operation["responses"].items():
        for kind, content in resolved(response).get("content", {}).items():
            assert content.get("examples") or kind in {"application/pdf", "video/mp4"}, (status, kind)


@pytest.mark.parametrize("name", OPERATIONS)
def test_an_operation_says_how_it_refuses(name: str) -> None:
    operation = OPERATIONS[name]
    statuses = set(operation["responses"])
    assert {"401", "406", "429"} <= statuses
    method, path = name.split()
    open_to_all = {} in operation.get("security", [])
    assert ("403" in statuses) or (open_to_all and method == "GET")
    assert ("404" in statuses) == ("{" in path) or "404" in statuses
    assert method == "GET" or "400" in statuses
    headers = {parameter["name"] for parameter in operation.get("parameters", []) if parameter["in"] == "header"}
    assert ("If-Match" in headers) == ({"412", "428"} <= statuses)
    assert ("Idempotency-Key" in headers) == ({"409", "422"} <= statuses)
    for status in statuses:
        response = resolved(operation["responses"][status])
        assert response["description"]
        if status.startswith("4"):
            for content in response.get("content", {}).values():
                reference = content["schema"]["$ref"].rsplit("/", 1)[-1]
                assert reference == ("Stale" if status == "412" else "Error")


def test_every_change_of_a_versioned_object_needs_if_match() -> None:
    for name, operation in OPERATIONS.items():
        if name.startswith("PATCH") or name.endswith("teams/"):
            assert any(
                parameter["name"] == "If-Match" and parameter["required"] for parameter in operation["parameters"]
            )


def test_every_write_but_those_named_takes_an_idempotency_key() -> None:
    without = {
        name
        for name, operation in OPERATIONS.items()
        if not name.startswith("GET") and "422" not in operation["responses"]
    }
    laid = "POST /api/v1/entries/{id}/sheets/{seat}/commentary/"  # writes nothing, and keeps nothing of what was said
    upload = "/api/v1/entries/{id}/recording/uploads/{key}/"  # each of these may be sent twice as it is
    assert without == {
        laid,
        "POST /api/v1/tokens/",
        "DELETE /api/v1/tokens/{id}/",
        "DELETE /api/v1/entries/{id}/",
        "DELETE /api/v1/entries/{id}/recording/",
        f"PUT {upload}",
        f"DELETE {upload}",
        f"POST {upload}finish/",
        "POST /api/v1/schemes/check/",  # looks only
        "POST /api/v1/seasons/{id}/preview/",  # looks only
    }


def test_figures_are_strings_in_the_document() -> None:
    found = [
        (name, key)
        for name, schema in DOCUMENT["components"]["schemas"].items()
        for key, value in schema.get("properties", {}).items()
        if value.get("type") == "number" or value.get("format") in {"float", "double"}
    ]
    assert found == []


def test_enumerations_have_names_of_their_own() -> None:
    enumerations = {name for name, schema in DOCUMENT["components"]["schemas"].items() if "enum" in schema}
    assert {"CompetitionState", "EntryStatus", "JobState", "ResultsState"} <= enumerations
    assert not [name for name in enumerations if len(name) > 3 and name[-7:-4].isalnum() and name[-7:-4].isdigit()]


def test_no_existing_host_or_person_is_named() -> None:
    text = COMMITTED.read_text(encoding="utf-8")
    assert "http" not in text.replace("https://show.example/", "").replace("type: http", "")


@pytest.mark.django_db
def test_the_document_is_served(client: Client) -> None:
    response = client.get("/api/v1/schema/")
    assert response.status_code == 200
    assert yaml.safe_load(response.content)["paths"].keys() == DOCUMENT["paths"].keys()


@pytest.mark.django_db
def test_the_page_keeps_to_our_policy(client: Client) -> None:
    """No script, style or handler stands in the page, no other host is named, and the policy is not relaxed."""
    response = client.get("/api/v1/docs/")
    page = response.content.decode()
    policy = response["Content-Security-Policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "<script>" not in page
    assert "<style" not in page
    assert "style=" not in page
    assert "://" not in page
    assert " on" not in page.replace(" on this", "").split("<body>")[1].split("</noscript>")[1]
