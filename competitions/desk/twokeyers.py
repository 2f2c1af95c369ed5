"""Two people keyed one sheet: what each typed, side by side, against what both started from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import scoring
from competitions.desk.typed import EMPTY, TypedSheet, values_of_record
from competitions.models import Sheet, SheetRevision
from competitions.services.sheets import sheet_record

_LABELS = {
    "overall": "Overall remarks",
    "total": "Total on the paper",
    "signed": "Signed",
    "given": "Result without marks",
    "errors": "Errors of course",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which the two differ. ``keep`` is ``mine``, ``theirs``, or empty where the keyer has to choose."""

    field: str
    label: str
    mine: str
    theirs: str
    started_from: str
    keep: str


def base_values(sheet: Sheet | None, *, version: int, items: Sequence[scoring.Item], errors: int) -> dict[str, str]:
    """Return the fields as they stood at the version that the keyer opened."""
    record: Mapping[str, Any] = EMPTY
    if sheet is not None and version:
        if version == sheet.version:
            record = sheet_record(sheet)
        else:
            revision = SheetRevision.objects.filter(sheet=sheet, version=version).first()
            record = revision.after if revision else EMPTY
    return values_of_record(record, items=items, errors=errors)


def differences(
    typed: TypedSheet, *, theirs: Mapping[str, str], base: Mapping[str, str], items: Sequence[scoring.Item]
) -> list[Difference]:
    """List every field in which what was typed differs from what now stands; who changed it is proposed."""
    mine = values_of_record(typed.record, items=items, errors=typed.errors)
    labels = _LABELS | {f"mark-{item.id}": f"Mark, {item.label}" for item in items}
    labels |= {f"remark-{item.id}": f"Remark, {item.label}" for item in items}
    labels |= {f"substitute-{item.id}": f"Substitute, {item.label}" for item in items}
    mine, theirs, base = (_with_kind(values) for values in (mine, theirs, base))
    order = [f"{kind}-{item.id}" for item in items for kind in ("mark", "remark", "substitute")]
    return [
        Difference(name, labels[name], mine[name], theirs[name], base[name], _proposal(name, mine, theirs, base))
        for name in [*order, "given", "errors", "total", "signed", "overall"]
        if mine[name] != theirs[name]
    ]


def _with_kind(values: Mapping[str, str]) -> dict[str, str]:
    """Join a given result with what it is, so that both are compared."""
    found = dict(values)
    if found["given"]:
        found["given"] = f"{found['given_kind']} {found['given']}"
    return found


def _proposal(name: str, mine: Mapping[str, str], theirs: Mapping[str, str], base: Mapping[str, str]) -> str:
    if mine[name] == base[name]:
        return "theirs"
    return "mine" if theirs[name] == base[name] else ""


def apply_choices(data: Mapping[str, str], *, theirs: Mapping[str, str]) -> dict[str, str]:
    """Return the submitted fields with those taken over for which ``keep-<field>`` says ``theirs``."""
    found = dict(data)
    for key, choice in data.items():
        name = key.removeprefix("keep-")
        if key.startswith("keep-") and choice == "theirs" and name in theirs:
            found[name] = theirs[name]
            if name == "given":
                found["given_kind"] = theirs["given_kind"]
    return found
