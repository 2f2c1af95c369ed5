from __future__ import annotations

from datetime import date
from xml.etree import ElementTree as ET

import pytest
from django.test import Client

from riders.pages.outlooks import rides_in_words
from riders.selectors.outlooks import pair_outlook
from riders.services.ledger import post_scores
from tests.builders import make_association, make_pair, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

TODAY = date(2026, 12, 1)


def three_of_four(**changes: object) -> dict[str, object]:
    return qualifying_scheme(
        require=[{"count": "scores", "at_least": 4}, {"count": "judges", "at_least": 2}],
        value={"take": {"best": 2}, "aggregate": "mean"},
        threshold={"at_least": "66"},
        **changes,
    )


def ride(*percentages: str, pair: object = None, day: int = 1) -> None:
    post_scores(
        [
            row(1, key=f"s{n}", pair=pair or make_pair(1), percentage=value, date=date(2026, 11, day + n))
            for n, value in enumerate(percentages)
        ],
        by=None,
    )


def test_the_outlook_says_what_is_missing_and_the_lowest_percentage_that_would_do():
    # Best two of 64, 65, 60: mean 64.5; one more ride x with (x + 65) / 2 >= 66 has to reach 67. Worked out by hand.
    pair, season = make_pair(1), make_season(scheme=three_of_four())
    ride("64", "65", "60")
    (group,) = pair_outlook(pair, season, today=TODAY).groups
    assert (group.outlook.value, group.outlook.scores_needed, group.outlook.at_least_each) == ("64.500", 1, "66.999")
    assert rides_in_words(group.outlook) == ("1 ride, with a new judge; not hors concours",)


def test_the_chance_counts_the_draws_that_get_there():
    # The 68 stands already: one further ride of 64 makes the mean of the best two 66. One of three scores is so high.
    pair, season = make_pair(1), make_season(scheme=three_of_four(season={"from": "2026-10-01", "to": "2027-09-30"}))
    ride("60", "63", "68")
    (group,) = pair_outlook(pair, season, today=TODAY).groups
    first, *more = group.chances
    assert first.rides == group.outlook.scores_needed == 1
    assert 270 < first.reached < 400
    assert first.reached < more[0].reached < more[1].reached
    assert group.form == ("60", "63", "68")


@pytest.mark.parametrize("percentages", [("64",), ("64", "65")])
def test_too_few_scores_give_no_chance(percentages: tuple[str, ...]):
    pair, season = make_pair(1), make_season(scheme=three_of_four())
    ride(*percentages)
    (group,) = pair_outlook(pair, season, today=TODAY).groups
    assert group.outlook.scores_needed
    assert group.chances == ()


def test_the_rides_of_others_are_read_only_where_the_scheme_looks_at_them(django_assert_num_queries):
    pair = make_pair(1)
    season = make_season(scheme=three_of_four())
    ride("64", "65", "60")
    post_scores([row(2, key=f"o{n}", percentage="70") for n in range(5)], by=None)
    with django_assert_num_queries(3):
        own = pair_outlook(pair, season, today=TODAY)
    assert own.groups[0].outlook.value == "64.500"


def test_a_rider_scheme_gives_the_rider_outlook():
    pair, season = make_pair(1), make_season(scheme=three_of_four(unit="rider"))
    ride("64", "65", "60")
    (group,) = pair_outlook(pair, season, today=TODAY).groups
    assert group.outlook.unit == pair.rider.name


def test_the_page_and_its_drawing_are_for_rider_keeper_and_staff(client: Client):
    rider, keeper = make_user("rider"), make_user("keeper")
    pair = make_pair(1, user=rider)
    make_season(make_association(keeper=keeper), scheme=three_of_four())
    ride("64", "65", "60", pair=pair)
    page = f"/associations/linden/2027/outlook/{pair.pk}/"
    for address in (page, f"{page}0.svg"):
        client.logout()
        assert client.get(address).status_code == 302
        for user, status in (
            (make_user(f"other{len(address)}"), 404), (rider, 200), (keeper, 200),
            (make_user(f"staff{len(address)}", is_staff=True), 200),
        ):  # fmt: skip
            client.force_login(user)
            assert client.get(address).status_code == status, (address, user)
    shown = client.get(page).content.decode()
    assert "66.999&nbsp;%" in shown
    assert "An estimate, not a promise" in shown
    assert f'src="{page}0.svg"' in shown
    assert client.get(f"{page}1.svg").status_code == 404


def test_the_drawing_has_no_inline_style_and_shows_the_value_and_what_is_needed(client: Client):
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four())
    ride("64", "65", "60", pair=pair)
    client.force_login(rider)
    answer = client.get(f"/associations/linden/2027/outlook/{pair.pk}/0.svg")
    assert answer["Content-Type"] == "image/svg+xml"
    drawn = ET.fromstring(answer.content)
    assert not [element for element in drawn.iter() if "style" in element.attrib]
    assert not [element for element in drawn.iter() if element.tag.endswith(("script", "style"))]
    words = " ".join("".join(element.itertext()) for element in drawn.iter() if element.tag.endswith("text"))
    assert "now 64.500" in words
    assert "needed 66.999 %" in words


def test_the_drawing_of_who_is_qualified_reaches_to_where_the_value_turns(client: Client):
    # Of the best two, 90 and 92, one more score takes the place of the 90: the value turns at 90 per cent.
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four() | {"require": []})
    ride("88", "90", "92", pair=pair)
    client.force_login(rider)
    answer = client.get(f"/associations/linden/2027/outlook/{pair.pk}/0.svg")
    drawn = ET.fromstring(answer.content)
    words = ["".join(element.itertext()) for element in drawn.iter() if element.tag.endswith("text")]
    assert {"80", "90", "100"} <= set(words)


def test_the_outlook_is_linked_where_it_may_be_seen_only(client: Client):
    rider, keeper = make_user("rider"), make_user("keeper")
    pair = make_pair(1, user=rider)
    make_season(make_association(keeper=keeper), scheme=three_of_four())
    ride("64", "65", "60", pair=pair)
    link = f"/associations/linden/2027/outlook/{pair.pk}/"
    pages = (f"/pairs/{pair.pk}/", "/associations/linden/2027/scores/?unit=R1/H1")
    for user, linked in ((None, False), (make_user("other"), False), (keeper, True), (rider, True)):
        client.logout()
        if user:
            client.force_login(user)
        assert [link in client.get(page).content.decode() for page in pages] == [linked] * 2, user
    assert link in client.get("/me/").content.decode()


def test_a_pair_without_a_score_is_told_so(client: Client):
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four())
    client.force_login(rider)
    assert (
        "has no score in this season yet"
        in client.get(f"/associations/linden/2027/outlook/{pair.pk}/").content.decode()
    )


def test_the_page_says_what_counts_what_is_missing_and_what_is_still_to_be_ridden(client: Client):
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four())
    ride("64", "65", "60", pair=pair)
    client.force_login(rider)
    shown = client.get(f"/associations/linden/2027/outlook/{pair.pk}/").content.decode()
    counts, missing, to_ride = (shown.index(f"<h3>{words}") for words in _ANSWERS)
    assert counts < missing < to_ride
    assert "Of the scores the best 2 count. The value is the mean of the scores that count." in shown
    assert [f"Counts with {value}." in shown[counts:missing] for value in (64, 65, 60)] == [True, True, False]
    assert "1 more score does not count." in shown
    assert "/scores/?unit=R1/H1" in shown.replace("%2F", "/")
    assert "At least 4 scores: 3 so far" in shown[missing:to_ride]
    assert "<strong>1</strong> more ride, with at least" in shown[to_ride:]
    assert "(60.000, 64.000, 65.000&nbsp;%" in shown


_ANSWERS = ("What counts", "What is missing", "What is still to be ridden")


def test_who_has_met_everything_is_told_below_what_percentage_one_more_score_changes_nothing(client: Client):
    # The best two of 70, 66, 64, 60 count: nothing below 66 moves their mean of 68.
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four() | {"require": []})
    ride("70", "66", "64", "60", pair=pair)
    client.force_login(rider)
    shown = client.get(f"/associations/linden/2027/outlook/{pair.pk}/").content.decode()
    assert 'Place <strong class="figure">1</strong>.' in shown
    assert "Nothing. One more score below" in shown
    assert "What is still to be ridden" not in shown
    assert "ticks on the axis" not in shown


def test_a_season_that_ranks_riders_stands_on_the_riders_page_and_the_pairs(client: Client):
    rider = make_user("rider")
    pair = make_pair(1, user=rider)
    make_season(scheme=three_of_four() | {"unit": "rider", "require": []})
    ride("70", "66", pair=pair)
    client.force_login(rider)
    mine = client.get("/me/").content.decode()
    assert "<h3>With every horse</h3>" in mine
    assert "/associations/linden/2027/scores/?unit=Rider%201" in mine
    assert f"/associations/linden/2027/outlook/{pair.pk}/" in mine
    assert "Rider 1, with every horse" in client.get(f"/pairs/{pair.pk}/").content.decode()
