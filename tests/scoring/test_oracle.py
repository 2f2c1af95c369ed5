"""A second, slow computation of thousands of random classes agrees with every published figure."""

from __future__ import annotations

import random

import pytest

import scoring
from tests.scoring.oracle import Oracle
from tests.scoring.random_classes import random_class

FIGURES = ("status", "placing", "shared", "total", "so_far", "points", "penalty", "collectives", "parts", "sheets")


def compare(document):
    results = scoring.compute_results(scoring.read_class(document), working=False)
    oracle = Oracle(document)
    expected = oracle.rows()
    for row in [*results.entries, *results.hidden]:
        found = row.as_document()
        assert {key: found[key] for key in FIGURES} == expected[row.number]
    assert [row.number for row in results.entries] == oracle.order()
    found_teams = {team.team: (team.placing, team.value) for team in results.teams}
    assert found_teams == (oracle.teams() or {})
    return results


@pytest.mark.parametrize("block", range(6))
def test_agrees_on_random_classes(block):
    for index in range(400):
        compare(random_class(random.Random(f"{block}-{index}")))


def test_random_classes_reach_what_they_are_for():
    steps = ("collectives", "coefficient-items", "median", "item", "seat", "collectives-at", "part", None)
    wanted = {"completed", "eliminated", "running", "shared", "adjusted", "below zero"}
    wanted |= {f"tie:{step}" for step in steps}
    for index in range(3000):
        document = random_class(random.Random(f"0-{index}"))
        for row in scoring.compute_results(scoring.read_class(document)).entries:
            wanted -= {row.status, "shared" if row.shared else "", f"tie:{row.tie.step}" if row.tie else ""}
            wanted -= {"adjusted" for sheet in row.sheets.values() if sheet.adjusted_to}
            wanted -= {"below zero" for line in row.working if "nothing goes below 0" in line}
        if not wanted:
            break
    assert not wanted, index
