"""Random championships against a second, slow computation with fractions, places from ``scipy.stats.rankdata``."""

from __future__ import annotations

import math
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

import scoring
from tests.scoring.championship_documents import championship, results

FIGURE = {"total": "total", "penalty": "penalty", "points": "points"}
STEPS = ({"by": "total", "class": 1}, {"by": "collectives", "class": 2}, {"by": "best-class"}, {"by": "mean"})


@st.composite
def championships(draw):
    classes = []
    for index in range(draw(st.integers(2, 3))):
        rows = {}
        for number in draw(st.sets(st.integers(1, 6), max_size=6)):
            if draw(st.integers(0, 5)) == 0:
                rows[str(number)] = draw(st.sampled_from(["eliminated", "retired", "withdrawn", "no-show", "running"]))
                continue
            figure = Fraction(draw(st.integers(120, 126)), 2)
            rows[str(number)] = {
                "total": f"{float(figure):.1f}",
                "penalty": f"{float(100 - figure):.1f}",
                "points": f"{float(2 * figure):.1f}",
                "collectives": str(draw(st.integers(20, 22))),
                "placing": draw(st.integers(1, 3)),
                "hors_concours": draw(st.integers(0, 7)) == 0,
            }
            if rows[str(number)]["hors_concours"]:
                rows[str(number)]["placing"] = None
        classes.append(results(f"c{index}", rows))
    method = draw(st.sampled_from(["total", "mean", "last-class-decides"]))
    last = method == "last-class-decides"
    return championship(
        *classes,
        method=method,
        of=draw(st.sampled_from(["total", "penalty", "points", "placing"])),
        counting=None if last else draw(st.none() | st.integers(1, len(classes))),
        drop_out=None if last else draw(st.none() | st.sampled_from(["0", "25", "40"])),
        decimals=draw(st.integers(0, 3)),
        rounding=draw(st.sampled_from(["half-up", "half-even", "down"])),
        ties=draw(st.lists(st.sampled_from(STEPS), max_size=3)),
        tie_places=draw(st.none() | st.integers(1, 3)),
    )


class Oracle:
    def __init__(self, document):
        self.document, self.classes = document, [found["results"]["entries"] for found in document["classes"]]
        self.lowest = document["of"] in ("penalty", "placing")
        self.values = {}
        for unit in sorted({row["number"] for rows in self.classes for row in rows if not row["hors_concours"]}):
            value = self.value(unit)
            if value is not None:
                self.values[unit] = -value if self.lowest else value

    def entry(self, unit, index):
        rows = [row for row in self.classes[index] if row["number"] == unit and not row["hors_concours"]]
        return rows[0] if rows else None

    def own(self, unit, index):
        row = self.entry(unit, index)
        if row is None or row["status"] != "completed":
            return None
        return Fraction(str(row[self.document["of"]]))

    def figure(self, unit, index):
        row, own = self.entry(unit, index), self.own(unit, index)
        if own is None and row is not None and row["status"] not in ("completed", "running"):
            return None if self.document["drop_out"] is None else Fraction(self.document["drop_out"])
        return own

    def value(self, unit):
        document, places = self.document, range(len(self.classes))
        if document["method"] == "last-class-decides":
            value = self.own(unit, len(self.classes) - 1)
            return None if value is None else self.rounded(value)
        figures = [(self.figure(unit, i), self.own(unit, i) is not None) for i in places]
        there = [pair for pair in figures if pair[0] is not None]
        wanted = document["counting"] or len(self.classes)
        if len(there) < wanted:
            return None
        best = sorted(there, key=lambda pair: pair[0], reverse=not self.lowest)[:wanted]
        if not any(own for _, own in best):
            return None
        added = sum(value for value, _ in best)
        return self.rounded(added / wanted if document["method"] == "mean" else added)

    def rounded(self, value):
        scale = 10 ** self.document["decimals"]
        below, rest = divmod(value * scale, 1)
        mode = self.document["rounding"]
        up = rest > Fraction(1, 2) or (rest == Fraction(1, 2) and (mode == "half-up" or below % 2 == 1))
        return Fraction(math.floor(below) + (up and mode != "down"), scale)

    def step(self, step, unit):
        places = range(len(self.classes))
        if step["by"] == "best-class":
            values = [value for i in places if (value := self.own(unit, i)) is not None]
            return max(-value if self.lowest else value for value in values)
        wanted = [step["class"] - 1] if "class" in step else places
        rows = [self.entry(unit, i) for i in wanted]
        name = "total" if step["by"] == "mean" else step["by"]
        if any(row is None or row["status"] != "completed" for row in rows):
            return None
        figures = [Fraction(row[name]) for row in rows]
        return self.rounded(sum(figures) / len(figures)) if step["by"] == "mean" else figures[0]

    def placings(self):
        found = _ranks(self.values)
        self.part(found, list(self.document["ties"]))
        return found

    def part(self, found, steps):
        """Try the steps one after the other on every group that still shares a place, most important step first."""
        for index, step in enumerate(steps):
            for place in sorted(set(found.values())):
                group = [unit for unit in found if found[unit] == place]
                if len(group) < 2 or (self.document["tie_places"] or 99) < place:
                    continue
                figures = {unit: self.step(step, unit) for unit in group}
                if None in figures.values():
                    continue
                for unit, rank in _ranks(figures).items():
                    found[unit] = place + rank - 1
            assert index < len(steps)


def _ranks(values):
    if not values:
        return {}
    order = {value: index for index, value in enumerate(sorted(set(values.values())))}
    ranks = rankdata([-order[value] for value in values.values()], method="min")
    return {unit: int(rank) for unit, rank in zip(values, ranks, strict=True)}


@settings(max_examples=400, deadline=None)
@given(championships())
def test_values_and_places_are_those_of_a_second_computation(document):
    oracle = Oracle(document)
    rows = scoring.compute_championship(scoring.read_championship(document)).rows
    assert {row.name: row.placing for row in rows if row.placing} == oracle.placings()
    for row in rows:
        if row.value is None:
            assert row.name not in oracle.values
            assert row.reason
        else:
            assert Fraction(row.value) == abs(oracle.values[row.name])


@settings(max_examples=100, deadline=None)
@given(championships(), st.randoms(use_true_random=False))
def test_the_order_of_entries_changes_nothing(document, random):
    before = scoring.compute_championship(scoring.read_championship(document)).as_document()
    for found in document["classes"]:
        random.shuffle(found["results"]["entries"])
        units = list(found["units"].items())
        random.shuffle(units)
        found["units"] = dict(units)
    assert scoring.compute_championship(scoring.read_championship(document)).as_document() == before


@settings(max_examples=100, deadline=None)
@given(championships())
def test_a_shared_place_is_shared_and_the_next_is_skipped(document):
    rows = [row for row in scoring.compute_championship(scoring.read_championship(document)).rows if row.placing]
    placings = [row.placing for row in rows]
    assert placings == sorted(placings)
    for index, row in enumerate(rows, start=1):
        assert row.placing == placings.index(row.placing) + 1
        assert row.shared == (placings.count(row.placing) > 1)
        assert (row.placing == index) or row.shared
