"""A scheme as a form: drawn with the problems of each block, and read back from what was typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from riders.pages.scheme_grammar import HEAD, SECTIONS
from riders.pages.scheme_nodes import RAW, Drawing, Json, Shown, Typed
from riders.pages.scheme_records import Key, noted
from scoring.documents import InvalidDocument, Problem, load_json
from scoring.season.drafting import block_sentences

_OTHERS = "Other parts of the rule"


@dataclass
class ShownSection:
    """A heading of the form with its blocks."""

    title: str
    about: str
    parts: list[Shown]
    id: str


@dataclass
class SchemeForm:
    """The whole form. ``shown`` are its blocks by their paths, ``problems`` those that belong to no block."""

    sections: list[ShownSection]
    shown: dict[str, Shown]
    problems: list[str]
    notes: list[str]


def draw_scheme(
    document: Json, *, problems: Iterable[Problem] = (), vocabulary: Mapping[str, list[str]] | None = None
) -> SchemeForm:
    """Draw a document with each problem at the block it belongs to; ``vocabulary`` are values that fields have."""
    record = document if isinstance(document, Mapping) else {}
    drawing = Drawing(vocabulary or {}, lambda path: _sentences(document, path))
    sections = []
    for number, section in enumerate(SECTIONS):
        parts = [shown for part in section.parts for shown in part.draw(record, "", drawing)]
        sections.append(ShownSection(section.title, section.about, parts, f"section-{number}"))
    strange = [RAW.draw(record[name], name, f"Unknown: {name}", drawing) for name in _strange(record)]
    if strange:
        sections.append(ShownSection(_OTHERS, "", strange, "section-others"))
    left = _place(problems, drawing)
    notes = [f"{name}: {noted(value)}" for name, value in record.items() if name.startswith("x-")]
    return SchemeForm(sections, drawing.shown, left, notes)


def read_scheme_form(document: Json, typed: Typed) -> Json:
    """Read a document back from the form that was drawn of it, with what was typed and the button that was pressed."""
    record = dict(document) if isinstance(document, Mapping) else {}
    strange = _strange(record)
    for section in SECTIONS:
        for part in section.parts:
            part.read(record, "", typed)
    for name in strange:
        Key(name, name, RAW).read(record, "", typed)
    return record


def _strange(record: Mapping[str, Json]) -> list[str]:
    known = {name for section in SECTIONS for part in section.parts for name in part.names()} | set(HEAD)
    return [name for name in record if name not in known and not name.startswith("x-")]


def _sentences(document: Json, path: str) -> tuple[str, ...]:
    key, _, rest = path.partition("[")
    index = rest.partition("]")[0]
    return block_sentences(
        document, key.partition(".")[0], int(index) if index.isdecimal() and "." not in key else None
    )


def _place(problems: Iterable[Problem], drawing: Drawing) -> list[str]:
    """Put each problem at the innermost block that it is about; return those that are about none."""
    for shown in drawing.broken.values():
        shown.problems.append(_fault_of(shown.text))
    left = []
    for problem in problems:
        at = problem.path
        if any(at == path or at.startswith((f"{path}.", f"{path}[")) for path in drawing.broken):
            continue
        while at and at not in drawing.shown:
            at = at[: max(at.rfind("."), at.rfind("["), 0)]
        if at:
            drawing.shown[at].problems.append(problem.message)
        else:
            left.append(problem.message)
    return left


def _fault_of(text: str) -> str:
    try:
        load_json(text)
    except InvalidDocument as error:
        return error.problems[0].message
    return "This cannot be kept as it stands. Write it anew."
