"""Good documents to start from, and a way to change one place in them."""

from __future__ import annotations

import copy
import re

import scoring

TEST = {
    "format": "test/1",
    "id": "larkfield-novice-2",
    "title": "Novice Test 2",
    "level": "novice",
    "highest_of_level": False,
    "kind": "set",
    "arena": "20x60",
    "minutes": "5.5",
    "mark": {"min": "0", "max": "10", "step": "0.5"},
    "items": [
        {
            "id": "1",
            "at": "A, X",
            "text": "Enter in working trot. Halt, salute.",
            "directive": "Straight; immobile halt.",
            "coefficient": "1",
            "family": "halt",
        },
        {"id": "4", "at": "B", "text": "Circle right 15 m", "coefficient": "2", "family": "circle", "gait": "canter"},
        {"id": "G1", "collective": True, "text": "Paces", "coefficient": "1"},
    ],
    "maximum": "40",
}

FREESTYLE = {
    "format": "test/1",
    "id": "larkfield-freestyle",
    "kind": "freestyle",
    "mark": {"min": "0", "max": "10", "step": "0.5"},
    "items": [
        {"id": "1", "text": "Canter half-pass"},
        {"id": "2", "text": "Flying changes", "coefficient": "2"},
        {"id": "A1", "text": "Harmony", "part": "artistic", "coefficient": "4", "mark": {"step": "0.1"}},
    ],
}


def marks(first, second, third):
    return {"marks": {"1": first, "4": second, "G1": third}}


def small_class():
    """Return ``class/1`` of two seats and four entries."""
    return {
        "format": "class/1",
        "id": "c7",
        "title": "Novice open",
        "test": copy.deepcopy(TEST),
        "rules": scoring.rule_sets()["points-errors-collectives"],
        "maximum": None,
        "panel": [{"seat": "C"}, {"seat": "B"}],
        "entries": [
            {
                "number": "12",
                "status": "completed",
                "hors_concours": False,
                "team": "Green",
                "errors": 1,
                "deductions": [{"off": "sheet-points", "amount": "2", "seat": "B", "reason": "whip"}],
                "sheets": {"C": marks("6.5", "7", "7"), "B": marks("7", "6", "6.5")},
            },
            {
                "number": "9",
                "status": "completed",
                "team": "Green",
                "sheets": {"C": marks("6", "6", "6"), "B": marks("6.5", "6", "5.5")},
            },
            {"number": "15", "status": "retired", "reason": "horse unsettled", "sheets": {}},
            {"number": "20", "status": "running", "sheets": {"C": {"marks": {"1": "7"}}}},
        ],
        "teams": {"counting": 2, "method": "sum", "of": "percentage", "drop_out": None},
    }


def freestyle_class():
    """Return ``class/1`` with parts: C marks the technical part, B the artistic, E both."""
    return {
        "format": "class/1",
        "id": "c8",
        "test": copy.deepcopy(FREESTYLE),
        "rules": scoring.rule_sets()["freestyle-artistic"],
        "panel": [{"seat": "C", "parts": ["technical"]}, {"seat": "B", "parts": ["artistic"]}, {"seat": "E"}],
        "entries": [
            {
                "number": "1",
                "status": "completed",
                "sheets": {
                    "C": {"marks": {"1": "7", "2": "6.5"}},
                    "B": {"marks": {"A1": "7.3"}},
                    "E": {"marks": {"1": "6", "2": "6", "A1": "7.1"}},
                },
            }
        ],
    }


def points_class():
    """Return ``class/1`` without a test: one sheet by points, one by percentage."""
    return {
        "format": "class/1",
        "id": "c9",
        "test": None,
        "rules": scoring.rule_sets()["half-and-one-percent"],
        "maximum": "460",
        "panel": [{"seat": "C"}, {"seat": "E"}],
        "entries": [
            {"number": "1", "status": "completed", "sheets": {"C": {"points": "319"}, "E": {"percentage": "67.273"}}}
        ],
    }


REMOVED = object()


def changed(document, path, value):
    """Return a copy of ``document`` with ``value`` at ``path``, as in ``entries[0].sheets.C``; REMOVED takes it out."""
    document = copy.deepcopy(document)
    keys = [int(key) if key.isdigit() and bracket else key for key, bracket in _keys(path)]
    target = document
    for key in keys[:-1]:
        target = target[key]
    if value is REMOVED:
        del target[keys[-1]]
    else:
        target[keys[-1]] = value
    return document


def _keys(path):
    for name, index in re.findall(r"([^.\[\]]+)(?=[.\[]|$)|\[(\d+)\]", path):
        yield (index, True) if index else (name, False)
