"""Published season rules as data, and check values whose rule is given by a sentence rather than a page of its own."""

import datetime as dt
import json
from pathlib import Path

import jsonschema
import pytest

from scoring import season

ROOT = Path(__file__).parents[2]
PUBLISHED = sorted((ROOT / "fixtures" / "schemes" / "published").glob("*.json"))


def scheme(**keys):
    return season.read_scheme({"format": "scheme/1", "id": "check", "unit": "pair", "decimals": 3, **keys})


def rides(*numbers, field="percentage", **common):
    return season.scores_from_rows(
        {"score_id": f"s{index}", "pair": "P1", field: str(number), **common} for index, number in enumerate(numbers)
    )


def only_value(rule, scores):
    (row,) = season.compute_standings(rule, scores).rows()
    return row.value


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_a_published_rule_reads_names_its_source_and_can_be_said_in_words(path):
    document = json.loads(path.read_text(encoding="utf-8"))
    rule = season.read_scheme(document)
    assert rule.id == path.stem
    assert rule.sources
    assert all("http" in source for source in rule.sources)
    sentences = season.describe_scheme(rule)
    assert len(sentences) >= 3
    assert all(sentence.endswith(".") for sentence in sentences)
    assert season.compute_standings(rule, ()).rows() == ()


def test_most_of_the_published_rules_are_there():
    assert len({json.loads(path.read_text(encoding="utf-8"))["x-rule"] for path in PUBLISHED}) == 63


# Thames Valley dressage awards page (http://tvdcta.org/awards/?full-site=true), printed: mean plus one point per ride;
# the third is its jumping example, placing points and one per ride.
BONUS = {"value": {"aggregate": "mean", "add_per_score": "1"}}


@pytest.mark.parametrize(
    ("numbers", "field", "steps", "expected"),
    [
        ((65, 63, 65, 62, 67), "percentage", [], "69.400"),
        ((60,), "percentage", [], "61.000"),
        ((6, 5), "placing", [{"take": "placing"}], "7.500"),
    ],
)
def test_mean_plus_one_point_for_each_ride(numbers, field, steps, expected):
    assert only_value(scheme(score=steps, **BONUS), rides(*numbers, field=field)) == expected


# ECRDA rule book, high score awards (https://ecrda.com/pages/RuleBook-HighScoreAwards.html): median of three; derived.
def test_median_of_three():
    assert only_value(scheme(value={"aggregate": "median"}), rides("61.5", "66.0", "63.2")) == "63.200"


# SCDCTA awards (South Carolina club page): median, the lowest dropped when there are more than five; derived.
@pytest.mark.parametrize("numbers", [(60, 62, 64, 66, 68), (60, 62, 64, 66, 68, 58)])
def test_median_with_the_lowest_dropped_only_above_five(numbers):
    rule = scheme(value={"aggregate": "median", "drop_lowest": {"number": 1, "when_more_than": 5}})
    assert only_value(rule, rides(*numbers)) == "64.000"


# Question-and-answer page on statistics (https://qammunity.org/6916548/?show=6916549), printed medians.
@pytest.mark.parametrize(("numbers", "expected"), [((78, 65, 100, 80, 92), "80.000"), ((62, 50, 100, 94), "78.000")])
def test_printed_medians(numbers, expected):
    assert only_value(scheme(value={"aggregate": "median"}), rides(*numbers)) == expected


# Swedish club championship, level factors (https://astorprf.se/tavlingar/regler-for-km-i-dressyr/); derived.
@pytest.mark.parametrize(("level", "percentage", "expected"), [("LB", "65.0", "68.900"), ("MC", "62.4", "73.632")])
def test_level_factors(level, percentage, expected):
    rule = scheme(score=[{"multiply_by": {"level": {"LB": "1.06", "MC": "1.18"}}}], value={"aggregate": "sum"})
    assert only_value(rule, rides(percentage, level=level)) == expected


# German county championship (a local club's rule): 0, 2, 3 / 0, 3, 4.5 / final 0, 4, 6, lowest wins; derived.
def test_placing_points_by_round_lowest_wins():
    def table(*points):
        return [{"places": {str(place): point for place, point in enumerate(points, start=1)}}]

    rule = scheme(
        score=[
            {"when": {"field": "x-round", "is": "1"}, "then": table("0", "2", "3")},
            {"when": {"field": "x-round", "is": "2"}, "then": table("0", "3", "4.5")},
            {"when": {"field": "x-round", "is": "final"}, "then": table("0", "4", "6")},
        ],
        value={"aggregate": "sum"},
        order="ascending",
        decimals=1,
    )
    rows = [("1", 3), ("2", 2), ("final", 1)]
    scores = season.scores_from_rows(
        {"score_id": round_, "pair": "P1", "x-round": round_, "placing": place, "percentage": "60"}
        for round_, place in rows
    )
    assert only_value(rule, scores) == "6.0"


# British Dressage points 2014 (60-61.99 is 1 ... 72 and more is 7); the first two printed, the others from the table.
@pytest.mark.parametrize(("percentage", "points"), [("65.0", "3"), ("68.6", "5"), ("61.99", "1"), ("72.0", "7")])
def test_percentage_bands(percentage, points):
    bands = [[str(60 + 2 * band), str(band + 1)] for band in range(7)]
    assert (
        only_value(scheme(score=[{"bands": bands}], value={"aggregate": "sum"}, decimals=0), rides(percentage))
        == points
    )


# League standings, printed (https://dressage-news.com/2022/02/22/
# dressage-world-cup-qualifying-changed-for-2022-in-western-european-league/).
def test_shared_places_skip_the_next():
    points = [52, 52, 47, 42, 40, 40, 39, 33, 32, 30, 30, 29]
    scores = season.scores_from_rows(
        {"score_id": f"s{index}", "pair": f"P{index}", "percentage": str(number)} for index, number in enumerate(points)
    )
    rows = season.compute_standings(scheme(value={"aggregate": "sum"}), scores).rows()
    assert [row.placing for row in rows] == [1, 1, 3, 4, 5, 5, 7, 8, 9, 10, 10, 12]
    assert [row.shared for row in rows] == [points.count(number) > 1 for number in points]


# Rio Grande do Sul state ranking (https://adestramentobrasil.com/2024/04/10/ranking-gaucho-agora-contabiliza-provas-
# nacionais-e-tem-mudanca-na-metodologia): the points of tied places are added and divided; the table is constructed.
# A New Zealand group's points table instead lowers the next one by one point only (common practice there).
@pytest.mark.parametrize(
    ("shared", "expected"),
    [("mean", ["10", "7", "7", "5"]), ("same", ["10", "8", "8", "5"]), ("dense", ["10", "8", "8", "6"])],
)
def test_points_of_a_shared_place(shared, expected):
    steps = [{"places": {"1": "10", "2": "8", "3": "6", "4": "5"}, "shared": shared}]
    rule = scheme(score=steps, value={"aggregate": "sum"}, decimals=0)
    scores = season.scores_from_rows(
        {"score_id": f"s{n}", "pair": f"P{n}", "class": "K", "competition": "S", "placing": place}
        for n, place in enumerate([1, 2, 2, 4])
    )
    rows = season.compute_standings(rule, scores).rows()
    assert [row.value for row in sorted(rows, key=lambda row: row.unit)] == expected


# LA Chapter CDS awards (https://www.lachaptercds.org/awards), printed in words: a pair that leads at two levels
# takes the title of the higher level only. The figures are constructed, the points table of the page is cut off.
def test_a_pair_that_leads_at_two_levels_takes_the_higher_title():
    rule = scheme(
        group_by=["level"],
        value={"aggregate": "mean"},
        after=[{"keep": "highest", "of": "level", "order": ["Training", "First"], "winners_only": True}],
    )
    scores = season.scores_from_rows(
        {"score_id": f"s{n}", "pair": pair, "level": level, "percentage": percentage}
        for n, (pair, level, percentage) in enumerate(
            [("A", "Training", "70"), ("B", "Training", "68"), ("A", "First", "66"), ("C", "First", "65")]
        )
    )
    places = {
        (dict(row.group)["level"], row.unit): row.placing for row in season.compute_standings(rule, scores).rows()
    }
    assert places == {("First", "A"): 1, ("First", "C"): 2, ("Training", "B"): 1, ("Training", "A"): None}


RIDE = {
    "score_id": "s1", "pair": "P1", "rider": "R1", "horse": "H1", "team": "T1", "level": "First", "division": "open",
    "percentage": "62", "judges": "J1", "competition": "C1", "member": "true", "hors_concours": "false", "kind": "set",
    "recognised": "true", "placing": "2", "starters": "8", "class": "K1", "test": "T1", "region": "29",
    "x-breed": "Estonian", "x-registry": "G", "x-studbook": "G", "x-sire": "G", "x-placed": "true",
}  # fmt: skip


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.stem)
def test_the_outlook_of_a_published_rule_agrees_with_its_standings(path):
    rule = season.read_scheme(path.read_bytes())
    day = (rule.season.first or dt.date(2027, 1, 1)).isoformat()
    scores = season.scores_from_rows([{**RIDE, "date": day}])
    unit = season.scores_from_rows([RIDE])[0].value_of(rule.unit)
    outlooks = season.compute_outlook(rule, scores, unit=unit)
    schema = json.loads((ROOT / "scoring" / "schemas" / "outlook-1.json").read_text(encoding="utf-8"))
    rows = {row.group: row for row in season.compute_standings(rule, scores).rows()}
    assert len(outlooks) <= 1
    for outlook in outlooks:
        jsonschema.validate(outlook.as_document(), schema)
        row = rows.get(outlook.group)
        assert outlook.qualified == (row is not None and row.qualified)
        assert (outlook.scores_needed == 0) == outlook.qualified
        assert outlook.value == (None if row is None else row.value)
        assert len(outlook.rides) == (outlook.scores_needed or 0)
