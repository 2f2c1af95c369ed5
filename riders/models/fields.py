"""The field in which documents are kept."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.sql.compiler import SQLCompiler
from psycopg.types.json import Json


class DocumentField(models.JSONField):
    """A JSON document with its keys in the order in which they were written.

    The order is part of what people read: the parts of a test, the fields a table is grouped by, the document as it was
    handed in. PostgreSQL's ``jsonb``, Django's choice, sorts keys by their length; ``json`` keeps them. A ``json``
    column cannot be compared or made distinct, which no query here asks of a document.
    """

    def db_type(self, connection: BaseDatabaseWrapper) -> str | None:
        if connection.vendor == "postgresql":
            return "json"
        return super().db_type(connection)

    def get_db_prep_value(self, value: Any, connection: BaseDatabaseWrapper, prepared: bool = False) -> Any:
        adapted = super().get_db_prep_value(value, connection, prepared)
        if connection.vendor == "postgresql":
            return Json(adapted.obj, adapted.dumps)
        return adapted

    def select_format(self, compiler: SQLCompiler, sql: str, params: Any) -> tuple[str, Any]:
        if compiler.connection.vendor == "postgresql":
            # As text, so that Django's own reader reads it: psycopg would make Python objects of a json column.
            return f"({sql})::text", params
        return super().select_format(compiler, sql, params)
