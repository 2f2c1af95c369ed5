"""Worked examples of published season rules: the rule as data in ``fixtures/schemes/published``, inputs to figures.

Each record in ``season_examples.json`` names its source; ``printed`` says whether the page prints the figure, or the
rule as published was applied to constructed inputs. Ledger rows hold invented names.
"""

import json
from pathlib import Path

import pytest

from scoring import season

ROOT = Path(__file__).parents[2]
SCHEMES = ROOT / "fixtures" / "schemes" / "published"
EXAMPLES = json.loads((Path(__file__).parent / "season_examples.json").read_text(encoding="utf-8"))


def standings_of(example):
    scheme = season.read_scheme((SCHEMES / f"{example['scheme']}.json").read_bytes())
    return season.compute_standings(scheme, season.scores_from_rows(example["rows"]))


@pytest.mark.parametrize("example", EXAMPLES, ids=[f"{n}-{example['id']}" for n, example in enumerate(EXAMPLES)])
def test_a_published_rule_gives_the_published_figure(example):
    expected = dict(example["expected"])
    rows = standings_of(example).rows()
    unit = expected.pop("unit", "P1")
    if "ranked" in expected:
        assert sorted(dict(row.group)["level"] for row in rows if row.placing == 1) == expected.pop("ranked")
    if "placings" in expected:
        assert {row.unit: row.value for row in rows} == expected.pop("values")
        assert {row.unit: row.placing for row in rows} == expected.pop("placings")
    if expected:
        (row,) = [row for row in rows if row.unit == unit]
        if "counted_horses" in expected:
            horses = {score["score_id"]: score["horse"] for score in example["rows"]}
            assert len({horses[score_id] for score_id in row.counted}) == expected.pop("counted_horses")
        found = {name: getattr(row, name) for name in expected}
        assert {name: list(v) if isinstance(v, tuple) else v for name, v in found.items()} == expected


def test_every_example_names_its_source():
    assert len(EXAMPLES) >= 80
    assert all("http" in example["source"] for example in EXAMPLES)
