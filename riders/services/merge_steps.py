"""The single steps of a merge, each written down so that it can be taken back exactly.

Which rows point to a rider, horse or pair is read from Django's model metadata: every foreign key of every installed
app, hidden ones too. So a merge moves entries without this room importing the room of entries, and a relation that is
added later is never forgotten.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.models import Field, ManyToOneRel, Model

from riders.errors import Conflict

Step = dict[str, Any]


def relations_to(model: type[Model]) -> Iterator[tuple[type[Model], str]]:
    """Yield every (model, field) that points to rows of a model, in a fixed order."""
    found = [
        (relation.related_model, relation.field.name)
        for relation in model._meta.get_fields(include_hidden=True)  # noqa: SLF001 - Django's documented metadata
        if isinstance(relation, ManyToOneRel)
    ]
    yield from sorted(found, key=lambda pair: (pair[0]._meta.label_lower, pair[1]))  # noqa: SLF001


def move(steps: list[Step], *, model: type[Model], gone: int, kept: int) -> None:
    """Let everything that points to the row that goes point to the one that stays."""
    for pointing, field in relations_to(model):
        rows = list(pointing._default_manager.filter(**{field: gone}).order_by("pk").values_list("pk", flat=True))  # noqa: SLF001
        if rows:
            pointing._default_manager.filter(pk__in=rows).update(**{field: kept})  # noqa: SLF001
            steps.append(
                {
                    "do": "move",
                    "model": pointing._meta.label_lower,  # noqa: SLF001
                    "field": field,
                    "rows": rows,
                    "from": gone,
                    "to": kept,
                }
            )


def remove(steps: list[Step], row: Model) -> None:
    """Take a row out that nothing points to any more; all of it is kept in the step."""
    values = {field.attname: _plain(field, row) for field in row._meta.concrete_fields}  # noqa: SLF001
    steps.append({"do": "remove", "model": row._meta.label_lower, "row": row.pk, "values": values})  # noqa: SLF001
    type(row)._default_manager.filter(pk=row.pk).delete()  # noqa: SLF001


def fill(steps: list[Step], row: Model, values: dict[str, Any]) -> None:
    """Set fields of the row that stays, and keep what stood there."""
    if not values:
        return
    before = {name: getattr(row, name) for name in values}
    steps.append(
        {"do": "fill", "model": row._meta.label_lower, "row": row.pk, "before": before, "after": values}  # noqa: SLF001
    )
    for name, value in values.items():
        setattr(row, name, value)
    row.save(update_fields=list(values))


def take_back(step: Step) -> list[str]:
    """Undo one step; return in sentences what could not be as it was, because it has been changed since."""
    model = apps.get_model(step["model"])
    return {"move": _move_back, "remove": _put_back, "fill": _empty}[step["do"]](model, step)


def rows_changed(steps: list[Step]) -> set[tuple[str, int]]:
    """Return the pairs, riders and horses that steps took away or moved, as (model, row)."""
    found = {(step["model"], step["row"]) for step in steps if step["do"] == "remove"}
    return found | {
        ("riders.pair", row)
        for step in steps
        if step["do"] == "move" and step["model"] == "riders.pair"
        for row in step["rows"]
    }


def rows_added_to(steps: list[Step]) -> set[tuple[str, int]]:
    """Return the pairs, riders and horses that steps gave something to, as (model, row)."""
    return {(_target_of(step), step["to"]) for step in steps if step["do"] == "move"} | {
        (step["model"], step["row"]) for step in steps if step["do"] == "fill"
    }


def _target_of(step: Step) -> str:
    field = apps.get_model(step["model"])._meta.get_field(step["field"])  # noqa: SLF001
    return str(field.related_model._meta.label_lower)  # noqa: SLF001


def name_of(model: type[Model], number: int) -> str:
    name = str(model._meta.verbose_name)  # noqa: SLF001
    if number == 1:
        return name
    return f"{name.removesuffix('y')}ies" if name.endswith("y") else f"{name}s"


def _plain(field: Field[Any, Any], row: Model) -> Any:
    value = field.value_from_object(row)
    return value if value is None or isinstance(value, str | int | bool | list | dict) else str(value)


def _move_back(model: type[Model], step: Step) -> list[str]:
    field = step["field"]
    there = model._default_manager.filter(pk__in=step["rows"])  # noqa: SLF001
    moved = there.filter(**{field: step["to"]}).update(**{field: step["from"]})
    left = len(step["rows"]) - moved
    if not left or model._meta.label_lower == "riders.standingrow":  # noqa: SLF001 - standings are worked out anew
        return []
    what = name_of(model, len(step["rows"]))
    return [f"{left} of {len(step['rows'])} {what} had been changed or removed since, and stayed as found."]


def _put_back(model: type[Model], step: Step) -> list[str]:
    row = model(**step["values"])
    try:
        row.validate_unique()
        row.validate_constraints()
    except ValidationError as error:
        said = " ".join(error.messages)
        raise Conflict(
            f"The {model._meta.verbose_name} that went cannot be put back: {said} Correct what stands in its place, "  # noqa: SLF001
            "then undo the merge again."
        ) from error
    row.save(force_insert=True)
    return []


def _empty(model: type[Model], step: Step) -> list[str]:
    row = model._default_manager.filter(pk=step["row"]).first()  # noqa: SLF001
    notes: list[str] = []
    if row is None:
        return notes
    for name, before in step["before"].items():
        if getattr(row, name) == step["after"][name]:
            setattr(row, name, before)
        else:
            notes.append(f"{name.removesuffix('_id').capitalize()} had been changed since, and was left as it is.")
    row.save()
    return notes
