"""Worked examples and check values that concern one class, run through the documents. The source stands beside each."""

from __future__ import annotations

from decimal import Decimal

import pytest

import scoring
from tests.published.class_documents import by_number, class_of, compute, record, rules

TWO_FOUR = {"off": "sheet-points", "steps": ["2", "4"], "eliminated_at": 3}
ONE_TWO = {"off": "total-percentage", "steps": ["1", "2"], "eliminated_at": 3}
HALF_ONE = {"off": "total-percentage", "steps": ["0.5", "1"], "eliminated_at": 3}
TWO_PERCENT = {"off": "total-percentage", "steps": ["2"], "eliminated_at": 2}


def one_ride(sheets, rule, *, maximum=None, shape="points", **entry):
    """Compute a class of one ride whose sheets are given by points or percentage, and return its row."""
    sheets = {f"S{index}": {shape: value} for index, value in enumerate(sheets)}
    entries = [{"number": "1", "status": "completed", "sheets": sheets, **entry}]
    (row,) = compute(class_of(entries, rule, maximum=maximum)).entries
    return row


@pytest.mark.parametrize(
    ("points", "maximum", "percentage"),
    [
        ("178", "280", "63.571"),  # ryttarens.se percent guide; the result is derived
        ("142", "240", "59.167"),  # kentuckydressageassociation.com scoring page (we-29); the result is derived
        ("99", "160", "61.875"),  # classicaldressage.co.uk (we-03), printed
        ("144", "240", "60.000"),  # bakersfielddressage.com (we-01), printed
        ("168", "240", "70.000"),  # bakersfielddressage.com (we-02), printed
        ("130", "200", "65.000"),  # rgequinetraining.com (we-04), printed
        ("319", "460", "69.348"),  # dressage-news.com, 5 April 2024, derived from the printed percentage
        ("180", "300", "60.000"),  # a Dutch point table, printed: 60, 65 and 70 per cent of 300
        ("195", "300", "65.000"),
        ("210", "300", "70.000"),
        ("204", "340", "60.000"),  # the same table, of 340
        ("221", "340", "65.000"),
        ("238", "340", "70.000"),
    ],
)
def test_points_to_percentage(points, maximum, percentage):
    assert one_ride([points], rules(), maximum=maximum).total == percentage


@pytest.mark.parametrize("example", ["we-01", "we-02", "we-29"])
def test_worked_percentages(example):
    """data/class-examples.json; each example names its page."""
    found = record("class-examples", example)
    row = one_ride([found["inputs"]["points"]], rules(), maximum=found["inputs"]["max"])
    assert Decimal(row.total) == Decimal(found["expected"]["percent"])


def test_a_printed_whole_percentage():
    """classicaldressage.co.uk (we-03): 61.875 is shown as 62."""
    assert one_ride(["99"], rules(total=0), maximum="160").total == "62"


def test_the_same_mark_everywhere_is_that_percentage():
    """bakersfielddressage.com (we-01, we-02): 6 for everything is 60 per cent, coefficients included."""
    test = {
        "format": "test/1",
        "id": "t",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": [
            {"id": "1"},
            {"id": "2", "coefficient": "2"},
            {"id": "G1", "collective": True, "coefficient": "1.5"},
        ],
    }
    for mark, percentage in (("6", "60.000"), ("7", "70.000")):
        entries = {"1": {"C": {"marks": dict.fromkeys(("1", "2", "G1"), mark)}}}
        assert compute(class_of(entries, rules(), test=test)).entries[0].total == percentage


FIRST = ["319", "321", "324.5", "314.5", "332"]
SECOND = ["325.5", "314", "317", "323", "331.5"]


def two_rides(rule):
    entries = {
        name: {f"S{index}": {"points": value} for index, value in enumerate(sheets)}
        for name, sheets in (("1", FIRST), ("2", SECOND))
    }
    return by_number(compute(class_of(entries, rule, maximum="460")))


def test_rounding_each_seat_first_parts_two_equal_sums():
    """dressage-news.com, 5 April 2024: 1611 of 2300 each, 70.044 and 70.043 as printed."""
    found = two_rides(rules())
    assert {seat.percentage for seat in found["1"].sheets.values()} == {
        "69.348",
        "69.783",
        "70.543",
        "68.370",
        "72.174",
    }
    assert (found["1"].total, found["2"].total) == ("70.044", "70.043")
    assert (found["1"].placing, found["2"].placing) == (1, 2)
    assert found["1"].tie is None


def test_adding_points_leaves_the_same_two_rides_equal():
    """As above, derived: all points of all seats make a tie at 70.043."""
    found = two_rides(rules(method="points"))
    assert {(row.points, row.total, row.placing, row.shared) for row in found.values()} == {("1611", "70.043", 1, True)}


def test_the_median_parts_them_for_first_place():
    """As above: ties for first had been parted by the median sheet; here 69.783 against 70.217."""
    rule = rules(sheet=3, total=2, ties=[{"by": "median"}], tie_places=1)
    found = two_rides(rule)
    assert (found["1"].total, found["2"].total) == ("70.04", "70.04")
    assert (found["2"].placing, found["2"].tie.step, found["2"].tie.value) == (1, "median", "70.217")
    assert (found["1"].placing, found["1"].tie.value) == (2, "69.783")


@pytest.mark.parametrize("example", ["we-18", "we-19"])
def test_five_seats_rounded_each_then_averaged(example):
    """Wikipedia, 2008 Summer Paralympics grade II, printed."""
    found = record("class-examples", example)
    row = one_ride(found["inputs"]["points_recovered"], rules(), maximum="220")
    assert [sheet.percentage for sheet in row.sheets.values()] == found["inputs"]["judges"]
    assert row.total == found["expected"]["total"]


def test_five_seats_added():
    """Wikipedia, 1996 Summer Olympics (we-21), printed: 1915 points, 76.60."""
    found = record("class-examples", "we-21")
    row = one_ride(found["inputs"]["judges"], rules(method="points", total=2), maximum="500")
    assert (row.points, row.total) == (str(found["expected"]["points"]), found["expected"]["percent"])


@pytest.mark.parametrize(
    ("percentage", "rule", "errors", "total"),
    [
        ("70", TWO_PERCENT, 1, "68.000"),  # dressagetoday.com, late 2015, printed
        ("68.50", ONE_TWO, 1, "67.500"),  # knhs.nl Art. 128, freestyle, derived
        ("66.20", TWO_PERCENT, 1, "64.200"),  # knhs.nl Art. 128, small tour (horses.nl, March 2021), derived
        ("65.500", HALF_ONE, 2, "64.000"),  # horsesdaily.com, notice of 2016, first and second error, derived
    ],
)
def test_errors_off_the_total(percentage, rule, errors, total):
    row = one_ride([percentage], rules(errors=rule), shape="percentage", errors=errors)
    assert (row.total, row.status) == (total, "completed")


@pytest.mark.parametrize(
    ("errors", "rule"), [(2, TWO_PERCENT), (3, ONE_TWO), (3, HALF_ONE), (3, TWO_FOUR), (4, TWO_FOUR)]
)
def test_one_error_too_many_eliminates(errors, rule):
    """horsesdaily.com, notice of 2016; knhs.nl Art. 128."""
    row = one_ride(["200"], rules(errors=rule), maximum="300", errors=errors)
    assert (row.status, row.reason, row.placing, row.total) == ("eliminated", "errors of course", None, None)


@pytest.mark.parametrize(("maximum", "points"), [("500", "0.400"), ("460", "0.435")])
def test_worth_of_a_two_point_error(maximum, points):
    """dressagetoday.com, late 2015 ("less than half" a percentage point), derived."""
    rule = rules(sheet=None, errors=TWO_FOUR)
    without, with_error = (one_ride(["350"], rule, maximum=maximum, errors=errors).total for errors in (0, 1))
    exact = Decimal(2) / Decimal(maximum) * 100
    assert abs(Decimal(without) - Decimal(with_error) - exact) <= Decimal("0.001")
    assert round(exact, 3) == Decimal(points)


def test_two_errors_off_each_of_two_sheets():
    """knhs.nl Art. 128, derived: 186 and 183 of 300 become 180 and 177, 357 of 600."""
    row = one_ride(["186", "183"], rules(method="points", errors=TWO_FOUR), maximum="300", errors=2)
    assert [sheet.points for sheet in row.sheets.values()] == ["180", "177"]
    assert (row.points, row.total) == ("357", "59.500")


def test_fault_of_dress_and_two_errors():
    """useventing.com, August 2019, derived: 182.5 - 2 - 2 - 4 = 174.5 of 270, not eliminated."""
    dress = {"off": "sheet-points", "amount": "2", "seat": None, "reason": "dress"}
    rule = rules(sheet=2, total=2, errors=TWO_FOUR)
    row = one_ride(["182.5"], rule, maximum="270", errors=2, deductions=[dress])
    assert (row.points, row.total, row.status) == ("174.5", "64.63", "completed")


def test_fault_of_voice_on_one_sheet():
    """A judge's column of 2017 on the rule for 2018, derived: 320 of 460 instead of 322."""
    voice = {"off": "sheet-points", "amount": "2", "seat": "S0", "reason": "voice"}
    assert one_ride(["322"], rules(), maximum="460").total == "70.000"
    assert one_ride(["322"], rules(), maximum="460", deductions=[voice]).total == "69.565"


def test_three_errors_of_two_four_eight():
    """hippoline.lu/flse par. 404, derived: 150 becomes 136, a fourth error excludes."""
    rule = scoring.rule_sets()["two-four-eight-points"] | {"minimum_for_place": None}
    assert one_ride(["150"], rule, maximum="250", errors=3).points == "136"
    assert one_ride(["150"], rule, maximum="250", errors=4).status == "eliminated"


@pytest.mark.parametrize(("points", "placing"), [("149", None), ("150", 1)])
def test_sixty_per_cent_is_needed_for_a_place(points, placing):
    """hippoline.lu/flse par. 53, derived: of 250, 150 may be placed and 149 may not."""
    row = one_ride([points], scoring.rule_sets()["two-four-eight-points"], maximum="250")
    assert row.placing == placing
    assert row.total is not None


@pytest.mark.parametrize(("errors", "points"), [(0, "7.4"), (1, "7.2"), (2, "6.8")])
def test_errors_off_a_joint_mark(errors, points):
    """expydoc.com/doc/1896023 (7/2011), derived: 0.2, then 0.4 off an overall mark of 7.4."""
    test = {
        "format": "test/1",
        "id": "joint",
        "mark": {"min": "0", "max": "10", "step": "0.1"},
        "items": [{"id": "overall"}],
    }
    entries = [{"number": "1", "status": "completed", "errors": errors, "sheets": {"C": {"marks": {"overall": "7.4"}}}}]
    (row,) = compute(class_of(entries, scoring.rule_sets()["one-overall-mark"], test=test)).entries
    assert row.points == points


EVENTING = {"sheet": 2, "total": 2, "errors": TWO_FOUR}


@pytest.mark.parametrize(
    ("sheets", "maximum", "percentages", "mean", "penalty", "factor", "decimals"),
    [
        # knhs.nl eventing Art. 317, derived
        (["180", "171"], "280", ["64.29", "61.07"], "62.68", "37.3", "1", 1),
        # 2006, from rk3de.org; derived
        (["176", "171"], "260", ["67.69", "65.77"], "66.73", "49.905", "1.5", 3),
        # rgequinetraining.com (we-04), printed
        (["130"], "200", ["65.00"], "65.00", "35.0", "1", 1),
        # knhs.nl eventing Art. 304, printed: an average of 5.5 is 45 penalties
        (["143"], "260", ["55.00"], "55.00", "45.0", "1", 1),
    ],
)
def test_eventing_penalties(sheets, maximum, percentages, mean, penalty, factor, decimals):
    row = one_ride(sheets, rules(penalty={"factor": factor, "decimals": decimals}, **EVENTING), maximum=maximum)
    assert [sheet.percentage for sheet in row.sheets.values()] == percentages
    assert (row.total, row.penalty) == (mean, penalty)


@pytest.mark.parametrize(
    ("rounding", "mean", "penalty"),
    [("half-up", "61.97", "38.0"), ("half-even", "61.96", "38.0"), ("down", "61.96", "38.0")],
)
def test_an_exact_half(rounding, mean, penalty):
    """knhs.nl eventing Art. 317, derived: the mean of 62.86 and 61.07 is 61.965 exactly; 38.04 cut is 38.0 as well."""
    rule = rules(sheet=2, total=2, rounding=rounding, penalty={"factor": "1", "decimals": 1})
    row = one_ride(["62.86", "61.07"], rule, shape="percentage")
    assert (row.total, row.penalty) == (mean, penalty)


def test_conversion_to_one_decimal():
    """knhs.nl eventing Art. 317, derived."""
    rule = rules(sheet=2, total=2, penalty={"factor": "1", "decimals": 1})
    assert one_ride(["71.48"], rule, shape="percentage").penalty == "28.5"


def test_worth_of_an_eventing_error():
    """eventingnation.com, derived: 2 of 260 is 0.769 of a percentage and 1.154 penalties at 1.5."""
    rule = rules(total=3, errors=TWO_FOUR, penalty={"factor": "1.5", "decimals": 3})
    without, with_error = (one_ride(["182"], rule, maximum="260", errors=errors) for errors in (0, 1))
    assert Decimal(without.total) - Decimal(with_error.total) == Decimal("0.769")
    assert abs(Decimal(with_error.penalty) - Decimal(without.penalty) - Decimal("1.154")) <= Decimal("0.001")


def test_two_seats_do_not_double_an_error():
    """eventingnation.com, derived."""
    rule = rules(errors=TWO_FOUR, penalty={"factor": "1", "decimals": 1})
    one = one_ride(["182"], rule, maximum="260", errors=1)
    two = one_ride(["182", "182"], rule, maximum="260", errors=1)
    assert one.penalty == two.penalty


def test_outlier_of_seven():
    """horseandhound.co.uk 458842 (2014): mean of the other six 73.39, low 65.53, total 72.26, adjusted 73.16.

    The six are not printed; any six with that mean and a lowest of 71.78 (which 73.16 implies) give the figures.
    """
    six = ["71.78", "73.00", "73.20", "73.60", "74.20", "74.56"]
    assert sum(map(Decimal, six)) / 6 == Decimal("73.39")
    plain = rules(sheet=2, total=2)
    outliers = rules(sheet=2, total=2, outliers={"limit": "6", "min_sheets": 7})
    assert one_ride(["65.53", *six], plain, shape="percentage").total == "72.27"
    row = one_ride(["65.53", *six], outliers, shape="percentage")
    assert (row.total, row.sheets["S0"].adjusted_to, row.sheets["S0"].percentage) == ("73.16", "71.78", "65.53")
    assert [sheet.adjusted_to for sheet in row.sheets.values()].count(None) == 6


def teams_of(members, **teams):
    entries = [
        {"number": str(index), "team": "A", "sheets": {"C": {"percentage": value}} if value else {}}
        | {"status": "completed" if value else "eliminated"}
        for index, value in enumerate(members)
    ]
    (team,) = compute(class_of(entries, rules(), teams=teams)).teams
    return team.value


def test_best_three_of_four():
    """horseandhound.co.uk, European championships format, derived."""
    assert teams_of(["76.500", "72.100", "70.000", "68.300"], counting=3, method="sum") == "218.600"


def test_eliminated_member_counts_with_a_fixed_score():
    """2011 adult team rules, docsbay.net, derived: (65 + 62.5 + 60 + 25) / 4."""
    assert teams_of(["65.0", "62.5", "60.0", None], counting=4, method="mean", drop_out="25") == "53.125"


def test_mean_of_three_members():
    """Olympedia 259098 (we-23), printed."""
    found = record("class-examples", "we-23")
    assert teams_of(found["inputs"]["scores"], counting=3, method="mean") == found["expected"]["team"]


def test_team_dressage_of_five_members():
    """Olympedia 310008 (we-25), printed: the three lowest of five dressage penalties."""
    found = record("class-examples", "we-25")
    entries = [
        {
            "number": str(index),
            "status": "completed",
            "team": "A",
            "sheets": {"C": {"percentage": str(100 - Decimal(row[0]))}},
        }
        for index, row in enumerate(found["inputs"]["rows"])
    ]
    rule = rules(total=2, penalty={"factor": "1", "decimals": 2})
    teams = {"counting": found["inputs"]["count"], "method": "sum", "of": "penalty"}
    assert compute(class_of(entries, rule, teams=teams)).teams[0].value == found["expected"]["team_dressage"]


def test_team_points_of_three():
    """The Irish Field, 2020 (we-32), derived; printed without the half point."""
    found = record("class-examples", "we-32")
    entries = [
        {"number": str(index), "status": "completed", "team": "A", "sheets": {"all": {"points": points}}}
        for index, points in enumerate(["2717", "2656.5", "2538"])
    ]
    teams = {"counting": 3, "method": "sum", "of": "points"}
    results = compute(class_of(entries, rules(total=3), maximum="3220", teams=teams))
    assert [row.total for row in results.entries] == found["inputs"]["percents"]
    assert Decimal(results.teams[0].value) == Decimal(found["expected"]["points"])


@pytest.mark.parametrize("example", ["we-27", "we-28"])
def test_median(example):
    """A statistics page (we-27, we-28), printed: seen through a tie on a total that is cut to nothing."""
    found = record("class-examples", example)
    values = [str(value) for value in found["inputs"]["values"]]
    low = ["0"] * len(values)
    rule = rules(total=0, ties=[{"by": "median"}], errors={"off": "total-percentage", "steps": ["100"]})
    entries = [
        {"number": name, "status": "completed", "errors": 1}
        | {"sheets": {f"S{index}": {"percentage": value} for index, value in enumerate(sheets)}}
        for name, sheets in (("1", values), ("2", low))
    ]
    found_rows = by_number(compute(class_of(entries, rule)))
    assert Decimal(found_rows["1"].tie.value) == Decimal(found["expected"]["median"])


def test_places_after_a_tie():
    """General sports practice: 68, 66, 66, 64 are placed 1, 2, 2, 4; dressage-news.com 2022 (we-26), printed."""
    percentages = ["68", "66", "66", "64"]
    entries = {str(index): {"C": {"percentage": value}} for index, value in enumerate(percentages)}
    assert [row.placing for row in compute(class_of(entries, rules())).entries] == [1, 2, 2, 4]
    found = record("class-examples", "we-26")
    entries = {str(index): {"C": {"percentage": value}} for index, value in enumerate(found["inputs"]["points"])}
    assert [row.placing for row in compute(class_of(entries, rules())).entries] == found["expected"]["places"]


FREESTYLE = {
    "format": "test/1",
    "id": "freestyle",
    "kind": "freestyle",
    "mark": {"min": "0", "max": "10", "step": "0.5"},
    "items": [
        {"id": "1", "coefficient": "10"},
        {"id": "A1", "part": "artistic", "coefficient": "20", "mark": {"step": "0.1"}},
    ],
}


def test_freestyle_halves():
    """chronofhorse.com, 2010 worlds (we-31): technical 80.00, artistic 86.00; the 83.00 is derived."""
    found = record("class-examples", "we-31")
    rule = rules(sheet=2, total=2, parts={"technical": "1", "artistic": "1"})
    entries = {"1": {"C": {"marks": {"1": "8", "A1": "8.6"}}}}
    (row,) = compute(class_of(entries, rule, test=FREESTYLE)).entries
    assert row.parts == {name: found["inputs"][name] for name in ("technical", "artistic")}
    assert row.total == found["expected"]["judge_total"]


def test_freestyle_over_time():
    """2011 freestyle rules (scribd 53566985), derived: one point off an artistic total of 140 leaves 139."""
    over_time = {"off": "sheet-points", "amount": "1", "part": "artistic", "reason": "over time"}
    rule = rules(parts={"technical": "1", "artistic": "1"})
    sheets = {"C": {"marks": {"1": "8", "A1": "7"}}}
    entries = [{"number": "1", "status": "completed", "deductions": [over_time], "sheets": sheets}]
    (row,) = compute(class_of(entries, rule, test=FREESTYLE)).entries
    assert row.parts == {"technical": "80.000", "artistic": "69.500"}
    assert "C: artistic 140 points - 1 for over time = 139 of 200 = 69.500 %" in row.working
