"""Outlooks of random schemes on random ledgers, against standings that are worked out with the rides really added."""

import datetime as dt
from fractions import Fraction
from random import Random

import pytest

from scoring import season
from tests.scoring.season.outlook_oracle import KINDS, SIZES, Ahead, OutlookDrawing
from tests.scoring.season.test_season_oracle import comparable

SEEDS = range(5)
EACH = 8
MOST_TRIED = 2


def outlooks(seed):
    drawing = OutlookDrawing(seed)
    scheme, rows = drawing.scheme(), drawing.rows()
    as_of = drawing.one_of([None, None, dt.date(2027, 3, 1), dt.date(2027, 9, 20), dt.date(2027, 9, 28)])
    units = sorted({row[scheme["unit"]] for row in rows})
    if not units:
        return
    unit = drawing.one_of(units)
    rule, scores = season.read_scheme(scheme), season.scores_from_rows(rows)
    for found in season.compute_outlook(rule, scores, unit=unit, as_of=as_of):
        ahead = Ahead(scheme, rows, unit=unit, group=dict(found.group), as_of=as_of)
        yield found.as_document(), ahead, season.compute_standings(rule, scores, as_of=as_of)


def each(seed):
    for number in range(seed * EACH, (seed + 1) * EACH):
        for found, ahead, table in outlooks(number):
            yield found, ahead, table, (number, ahead.scheme, ahead.unit, ahead.as_of, found)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_stands_and_what_is_missing_is_that_of_the_standings(seed):
    for found, ahead, _, told in each(seed):
        line = ahead.line()
        assert found["qualified"] == (line is not None and line["qualified"]), told
        if line is not None:
            assert found["value"] == line["value"], told
            missing = [met for met in comparable(line)["requirements"] if not met["met"]]
            mine = comparable({"requirements": [{**met, "met": False} for met in found["missing"]]})["requirements"]
            assert mine == missing, told


@pytest.mark.parametrize("seed", SEEDS)
def test_no_set_of_fewer_rides_would_do_and_none_that_is_worse(seed):
    for found, ahead, _, told in each(seed):
        needed = found["scores_needed"]
        if needed == 0 or ahead.first > ahead.last:
            continue
        number = min(MOST_TRIED, needed - 1) if needed is not None else 1
        for fewer in range(1, number + 1):
            for percentage in ("100.000", "66.000", "0.000"):
                assert not any(map(ahead.qualifies, some(ahead.sets(fewer, percentage)))), (fewer, percentage, told)
        if needed is not None and needed <= MOST_TRIED:
            assert any(map(ahead.qualifies, ahead.sets(needed, found["at_least_each"]))), told
            lower = step_of(found["at_least_each"]) - 1
            for step in {lower, lower // 2} if lower >= 0 else ():
                assert not any(map(ahead.qualifies, some(ahead.sets(needed, text_of(step))))), (step, told)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_rides_that_are_described_do_suffice(seed):
    for found, ahead, _, told in each(seed):
        if not found["rides"] or found["scores_needed"] > 2 * MOST_TRIED:
            continue
        random, days = Random(seed), ahead.days(len(found["rides"]))
        described = [fitting(ride, random) for ride in found["rides"]]
        sets = [
            [
                ahead.ride(n, days[n], percentage=found["at_least_each"], starters=size, **kind, **shared(ride, ahead))
                for n, (ride, kind) in enumerate(zip(found["rides"], described, strict=True))
            ]
            for size in SIZES
        ]
        assert any(map(ahead.qualifies, sets)), (described, told)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_next_score_gives_the_value_that_it_would_have_in_the_standings(seed):
    for found, ahead, table, told in each(seed):
        latest = latest_counting(ahead, table)
        if latest is None or not found["next_score"]:
            continue
        random = Random(seed)
        edges = [step_of(piece["from"]) for piece in found["next_score"]]
        near = {edge + shift for edge in random.sample(edges, k=min(4, len(edges))) for shift in (-1, 0, 1)}
        for step in sorted(near | {100_000, random.randint(0, 100_000), random.randint(55_000, 70_000)}):
            if 0 <= step <= 100_000:
                values = [next_value(ahead, latest, percentage=text_of(step), starters=size) for size in SIZES]
                best = max(values, key=lambda value: (value is not None, sign(ahead) * (value or 0)))
                expected, close = value_at(found["next_score"], step, ahead.scheme["decimals"])
                assert (best is None) == (expected is None), (step, values, told)
                assert best is None or abs(best - expected) <= close, (step, values, told)
        for piece in found.get("next_place", ()):
            for place in {piece["from"], piece["to"] or piece["from"] + 7}:
                like = {"percentage": latest["percentage"], "starters": latest["starters"], "placing": str(place)}
                assert next_value(ahead, latest, **like) == fraction(piece["value"]), (place, piece, told)


def some(sets):
    """Return every set where there are few, and a fixed sample of them where there are many."""
    found = list(sets)
    return found if len(found) <= 12 else Random(1).sample(found, k=12)


def fitting(ride, random):
    """Draw a kind of ride that meets what is said of it."""
    every = [{**kind, "kind": name} for kind in KINDS for name in (kind["kind"], "eventing", "final", "another")]
    kinds = [kind for kind in every if all(meets(kind, test) for test in ride["where"])]
    return random.choice(kinds)


def meets(kind, test):
    if test["field"] not in kind:
        return True
    have = {"true": True, "false": False}.get(kind[test["field"]], kind[test["field"]])
    return have == test["is"] if "is" in test else have not in test["not_in"]


def shared(ride, ahead):
    """Take from the latest ride what need not be new."""
    fields = {"judges": "judge", "competition": "competition", "test": "test", "venue": "venue"}
    named = {test["field"]: test["is"] for test in ride["where"] if "is" in test}
    old = {field: ahead.latest[field] for field, name in fields.items() if name not in ride["new"]}
    return {**old, **{field: value for field, value in named.items() if field in old}}


def latest_counting(ahead, table):
    """Return the latest of the scores that came through to the unit's row."""
    for row in table.rows():
        if row.unit == ahead.unit and dict(row.group) == ahead.group:
            counting = {score_id for score_id, state, _ in row.explanations if state != "not eligible"}
            own = [one for one in ahead.own if one["score_id"] in counting]
            return max(own, key=lambda one: (one["date"], int("".join(filter(str.isdigit, one["score_id"])))))
    return None


def next_value(ahead, latest, **fields):
    kept = ("kind", "highest_of_level", "member", "test", "level", "horse")
    row = ahead.line([ahead.ride(0, ahead.days(1)[0], **{name: latest[name] for name in kept}, **fields)])
    return None if row is None else fraction(row["value"])


def sign(ahead):
    return -1 if ahead.scheme["order"] == "ascending" else 1


def value_at(pieces, step, decimals):
    """Read a value off the pieces, and how near to it a rounded figure has to be: on a slope both ends are rounded."""
    piece = next(piece for piece in pieces if step < step_of(piece["to"]) or piece is pieces[-1])
    if piece["value"] is not None or "value_from" not in piece:
        return fraction(piece["value"]), 0
    first, last = step_of(piece["from"]), step_of(piece["to"])
    low, high = Fraction(piece["value_from"]), Fraction(piece["value_to"])
    return low + (high - low) * Fraction(step - first, last - first), Fraction(2, 10**decimals)


def fraction(text):
    return None if text is None else Fraction(text)


def step_of(text):
    return int(text.replace(".", ""))


def text_of(step):
    return f"{step // 1000}.{step % 1000:03d}"
