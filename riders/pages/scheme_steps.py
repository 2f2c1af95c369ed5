"""The steps to the number of a score as blocks."""

from __future__ import annotations

from riders.pages.scheme_conditions import FIELD_CHOICES
from riders.pages.scheme_nodes import Field, Json, Node
from riders.pages.scheme_records import Key, Kind, Kinds, Many
from riders.pages.scheme_requirements import CONDITIONS, DECIMAL, NUMBER_FIELD, ROUND, SHARED, STAR, record
from riders.pages.scheme_tables import Entries, Rows, Table

FIGURES = Table(FIELD_CHOICES, Rows(("value", "figure"), hint=STAR))
_PLACES = Rows(("place", "points"), hint="A star * stands for every other place; without it they earn nothing.")


def steps(depth: int = 2) -> Many:
    """Return the steps to the number of a score; steps inside steps go so many deep, deeper ones are shown as text."""
    shared = Key("shared", "a shared place earns", SHARED)
    kinds: list[tuple[str, str, Node, str, Json]] = [
        ("take", "take a figure of the ledger", record(Key("take", "figure", NUMBER_FIELD)), "Take a figure", ""),
        ("constant", "take a fixed number", record(Key("constant", "number", Field("decimal", kept=True))), "", ""),
        (
            "places",
            "points by place",
            record(Key("places", "points", _PLACES), shared),
            "Points by place",
            {"1": "", "*": "0"},
        ),
        (
            "places_by_starters",
            "points by place and size of class",
            record(
                Key(
                    "places_by_starters",
                    "tables",
                    Entries("starters", _PLACES, {"1": ""}, hint="Write the number of starters as 3, 3-5 or 5+."),
                ),
                shared,
            ),
            "Points by place and size of class",
            {"1-4": {"1": ""}},
        ),
        (
            "from_starters",
            "the winner earns the number of starters, each next place one less",
            record(Key("from_starters", "", record(Key("most", "at most", DECIMAL))), shared),
            "Points from the number of starters",
            {"most": ""},
        ),
        (
            "riders_beaten",
            "points for each rider placed behind",
            record(Key("riders_beaten", "points for each", Field("decimal", kept=True))),
            "Points for riders beaten",
            "1",
        ),
        (
            "bands",
            "points by bands",
            record(
                Key("bands", "bands", Rows(("from", "points"), "pairs", hint="Each band begins at its lower bound.")),
                Key("below", "points below the lowest band", DECIMAL),
            ),
            "Points by bands",
            [],
        ),
        ("multiply", "multiply", record(Key("multiply", "by", Field("decimal", kept=True))), "Multiply", ""),
        ("divide", "divide", record(Key("divide", "by", Field("decimal", kept=True))), "Divide", ""),
        ("add", "add", record(Key("add", "number", Field("decimal", kept=True))), "Add a number", ""),
        (
            "multiply_by",
            "multiply by a figure that depends on a field",
            record(Key("multiply_by", "figures", FIGURES)),
            "Multiply by level, kind, ...",
            {"level": {}},
        ),
        (
            "add_by",
            "add a figure that depends on a field",
            record(Key("add_by", "figures", FIGURES)),
            "Add by level, kind, ...",
            {"level": {}},
        ),
        (
            "linear",
            "a straight line: a times the number, plus b",
            record(
                Key(
                    "linear",
                    "lines",
                    Table(FIELD_CHOICES, Rows(("value", "a", "b"), "lines", hint=STAR)),
                )
            ),
            "A straight line",
            {"kind": {}},
        ),
        ("round", "round", record(Key("round", "", ROUND)), "Round", {"decimals": 0}),
    ]
    if depth:
        inner = steps(depth - 1)
        kinds += [
            ("plus", "add a second number", record(Key("plus", "its steps", inner)), "Add a second number", []),
            (
                "when",
                "only where",
                record(
                    Key("when", "where", CONDITIONS),
                    Key("then", "do this", inner),
                    Key("else", "otherwise this", inner),
                ),
                "Do something only where ...",
                [{"field": "", "is": ""}],
            ),
        ]
    blanks = tuple((f"Add: {button or label}", {key: blank}) for key, label, _, button, blank in kinds)
    return Many(Kinds(tuple(Kind(key, label, node) for key, label, node, _, _ in kinds)), "step", blanks)
