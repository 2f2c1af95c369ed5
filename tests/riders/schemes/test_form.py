"""A scheme as a form: nothing of a document is lost in it, and its buttons do what they say."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riders.pages.scheme_form import draw_scheme, read_scheme_form
from riders.pages.scheme_nodes import Typed
from scoring.season.scheme import read_scheme, read_with_problems
from tests.builders import qualifying_scheme
from tests.riders.schemes.forms import fields_of, kept, typed_into

FIXTURES = Path(__file__).parents[3] / "fixtures" / "schemes"
FILES = sorted(FIXTURES.rglob("*.json"))
SCHEMES = {path.stem: json.loads(path.read_text()) for path in FILES}
JUNK: tuple[Any, ...] = (
    None, "", " ", "x", "a\nb", "ä, ö", 7, -1, 10**12, True, False, [], {}, [[]], [None], ["a", ["b"]], {"": ""},
    {"a": {"b": [1]}}, {"x-note": "n"}, {"field": "level", "is": "a", "in": ["b"]}, {"any": []}, {"not": "x"},
    [{"count": "scores"}], {"x-typed": "{", "not JSON": ""}, {"best": {"best": 2}}, "<b>&quot;</b>",
    {"*": "1", "1": "2"},
)  # fmt: skip


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the way to everything in a document."""
    found = [path] if path else []
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        found += places(one, (*path, key))
    return found


def spoilt(document: Any, random: Random) -> Any:
    """Return the document with junk in the place of something, or under a key that nothing knows."""
    document = copy.deepcopy(document)
    for _ in range(random.randrange(1, 4)):
        found = places(document)
        if not found:
            break
        *way, last = random.choice(found)
        holder = document
        for key in way:
            holder = holder[key]
        if random.random() < 0.2 and isinstance(holder, dict):
            holder[random.choice(["strange", "x-own", "", "a.b", "field", "is"])] = copy.deepcopy(random.choice(JUNK))
        else:
            holder[last] = copy.deepcopy(random.choice(JUNK))
    return document


def test_there_are_the_published_schemes() -> None:
    assert len(list((FIXTURES / "published").glob("*.json"))) >= 63


@pytest.mark.parametrize("name", SCHEMES)
def test_a_scheme_opened_and_kept_unchanged_is_the_same_document(name: str) -> None:
    document = SCHEMES[name]
    fields = fields_of(document)
    again = read_scheme_form(document, Typed(fields.texts))
    assert json.dumps(again) == json.dumps(document)
    assert len(set(fields.ids)) == len(fields.ids)
    assert len(fields.texts) < 900  # a form of more than 1,000 fields is refused before it is read


@settings(deadline=None, max_examples=50)
@given(st.integers(min_value=0, max_value=2**32))
def test_nothing_is_lost_of_a_document_that_is_wrong_anywhere(seed: int) -> None:
    random = Random(seed)
    document = spoilt(random.choice(list(SCHEMES.values())), random)
    again = read_scheme_form(document, Typed(fields_of(document).texts))
    assert json.dumps(again) == json.dumps(document)


@settings(deadline=None, max_examples=50)
@given(st.integers(min_value=0, max_value=2**32))
def test_nonsense_typed_anywhere_is_kept_or_said_and_breaks_nothing(seed: int) -> None:
    random = Random(seed)
    document = random.choice(list(SCHEMES.values()))
    fields = fields_of(document).texts
    for name in random.sample(list(fields), k=min(len(fields), 12)):
        fields[name] = random.choice(
            ["", "99999999999999999999", "-1", "1,5", "x" * 300, "{", "[]", "null", "€\r\n\r\n%"]
        )
    act = random.choice(
        ["", "keep", "add eligible 0", "up eligible[0]", "remove score[9]", "add x 9999", "put", "drop value"]
    )
    again = read_scheme_form(document, Typed(fields, act))
    draw_scheme(again, problems=read_with_problems(again)[1])


class TestButtons:
    def test_blocks_are_added_moved_and_removed(self) -> None:
        document = qualifying_scheme()
        first, second = document["eligible"]
        assert kept(document, "add eligible 0")["eligible"] == [first, second, {"field": "", "is": ""}]
        assert kept(document, "add eligible 1")["eligible"][2] == {"any": [{"field": "", "is": ""}]}
        assert kept(document, "up eligible[1]")["eligible"] == [second, first]
        assert kept(document, "down eligible[0]")["eligible"] == [second, first]
        assert kept(document, "remove eligible[0]")["eligible"] == [second]
        assert kept(document, "up eligible[0]")["eligible"] == [first, second]

    def test_what_was_typed_stays_when_a_button_is_pressed(self) -> None:
        after = typed_into(
            qualifying_scheme(), {"title": "Typed just now", "require[0].at_least": "5"}, "remove eligible[0]"
        )
        assert after["title"] == "Typed just now"
        assert after["require"][0]["at_least"] == 5
        assert len(after["eligible"]) == 1

    def test_parts_are_put_there_and_taken_away(self) -> None:
        document = qualifying_scheme()
        with_drop = kept(document, "put value.drop_lowest")
        assert with_drop["value"]["drop_lowest"] == {"number": 1}
        assert kept(with_drop, "drop value.drop_lowest") == document
        assert "value" not in kept(document, "drop value")

    def test_one_option_takes_the_place_of_another_with_what_was_typed(self) -> None:
        after = typed_into(qualifying_scheme(), {"require[0].?bound": "1"})
        assert after["require"][0] == {"count": "scores", "at_most": 2}
        after = typed_into(qualifying_scheme(), {"season.?days": "1"})
        assert after["season"] == {"rolling_months": 12}
        after = typed_into(qualifying_scheme(), {"value.take.?which": "1"})
        assert after["value"]["take"] == {"last": ""}

    def test_a_figure_becomes_one_that_depends_on_the_season(self) -> None:
        after = typed_into(qualifying_scheme(), {"value.take.best.?form": "1"})
        assert after["value"]["take"]["best"] == {"competitions_minus": 1}
        assert read_scheme(after).needs_season_facts

    def test_a_condition_takes_its_value_along_to_another_comparison(self) -> None:
        document = qualifying_scheme(eligible=[{"field": "level", "is": "novice"}])
        after = typed_into(document, {"eligible[0].?how": "in"})
        assert after["eligible"] == [{"field": "level", "in": ["novice"]}]
        after = typed_into(after, {"eligible[0].in": "novice\r\n medium \r\n\r\n"})
        assert after["eligible"] == [{"field": "level", "in": ["novice", "medium"]}]
        assert typed_into(after, {"eligible[0].?how": "is"})["eligible"][0]["is"] == ["novice", "medium"]
        number = qualifying_scheme(eligible=[{"field": "percentage", "at_least": "60"}])
        bars = typed_into(number, {"eligible[0].?how": "at_least_by"})
        assert bars["eligible"] == [{"field": "percentage", "at_least_by": {"level": {"*": "60"}}}]
        assert typed_into(bars, {"eligible[0].?how": "above"})["eligible"] == [{"field": "percentage", "above": "60"}]

    def test_values_are_read_as_the_field_has_them(self) -> None:
        document = qualifying_scheme(eligible=[{"field": "member", "is": ""}, {"field": "placing", "at_most": ""}])
        after = typed_into(document, {"eligible[0].is": "yes", "eligible[1].at_most": "3"})
        assert after["eligible"] == [{"field": "member", "is": True}, {"field": "placing", "at_most": 3}]
        own = qualifying_scheme(eligible=[{"field": "x-", "is": ""}])
        after = typed_into(own, {"eligible[0].?own": "x-breed", "eligible[0].is": "pony"})
        assert after["eligible"] == [{"field": "x-breed", "is": "pony"}]

    def test_rows_of_a_table_are_filled_in_renamed_and_emptied(self) -> None:
        document = qualifying_scheme(score=[{"places": {"1": "6", "2": "5"}}])
        after = typed_into(document, {"score[0].places#2.0": "*", "score[0].places#2.1": "1"})
        assert after["score"] == [{"places": {"1": "6", "2": "5", "*": "1"}}]
        after = typed_into(document, {"score[0].places#0.0": "", "score[0].places#0.1": ""})
        assert after["score"] == [{"places": {"2": "5"}}]
        twice = typed_into(document, {"score[0].places#1.0": "1"})
        assert twice["score"] == [{"places": {"1": "6", "1 (again)": "5"}}]
        comma = typed_into(document, {"score[0].places#0.1": "6,5"})
        assert comma["score"][0]["places"]["1"] == "6.5"

    def test_points_by_size_of_class(self) -> None:
        document = kept(qualifying_scheme(score=[]), "add score 3")
        assert document["score"] == [{"places_by_starters": {"1-4": {"1": ""}}}]
        document = kept(document, "add score[0].places_by_starters 0")
        after = typed_into(
            document,
            {
                "score[0].places_by_starters#1?key": "5+",
                "score[0].places_by_starters.#0.1": "8",
                "score[0].places_by_starters.1-4#0.1": "4",
            },
        )
        assert after["score"] == [{"places_by_starters": {"1-4": {"1": "4"}, "5+": {"1": "8"}}}]
        assert kept(after, "remove score[0].places_by_starters#0")["score"] == [
            {"places_by_starters": {"5+": {"1": "8"}}}
        ]

    def test_what_no_block_shows_is_edited_as_text(self) -> None:
        deep = {"level": {"novice": {"division": {"open": "60"}}, "*": "58"}}
        document = qualifying_scheme(group_by=["level", "division"], threshold=deep)
        form = draw_scheme(document)
        (raw,) = (one for one in form.shown.values() if one.template.endswith("raw.html"))
        assert raw.path == "threshold"
        assert "The value must be at least" in raw.sentences[0]
        changed = typed_into(document, {raw.path: '{"open": "61"}'})
        assert changed["threshold"] == {"open": "61"}
        broken = typed_into(document, {raw.path: '{"open": "61"'})
        problems = read_with_problems(broken)[1]
        form = draw_scheme(broken, problems=problems)
        assert form.shown[raw.path].text == '{"open": "61"'
        assert any("is not JSON" in one for one in form.shown[raw.path].problems)
        assert typed_into(broken, {raw.path: raw.text}) == document

    def test_several_together_may_be_one_of_those_that_are_enough(self) -> None:
        document = qualifying_scheme(require=[{"any_of": [{"count": "scores", "at_least": 8}]}])
        after = kept(document, "add require[0].any_of 1")
        after = typed_into(after, {"require[0].any_of[1][0].at_least": "5"})
        after = kept(after, "add require[0].any_of[1] 0")
        assert after["require"][0]["any_of"][1] == [
            {"count": "scores", "at_least": 5},
            {"count": "scores", "at_least": ""},
        ]

    def test_a_bar_by_level_is_a_table_and_not_text(self) -> None:
        document = qualifying_scheme(threshold={"level": {"novice": "62"}})
        after = typed_into(document, {"threshold.level#1.0": "*", "threshold.level#1.1": "60"})
        assert after["threshold"] == {"level": {"novice": "62", "*": "60"}}
        assert typed_into(document, {"threshold.?form": ""}).get("threshold") is None
        assert typed_into(document, {"threshold.?form": "1"})["threshold"] == {"above": ""}

    def test_an_unknown_key_can_be_corrected_or_removed(self) -> None:
        document = qualifying_scheme(elligible=[1])
        assert "elligible" not in typed_into(document, {"elligible": ""})
        assert draw_scheme(document, problems=read_with_problems(document)[1]).shown["elligible"].problems


class TestProblems:
    @pytest.mark.parametrize(
        ("changes", "path"),
        [
            ({"eligible": [{"field": "memder", "is": True}]}, "eligible[0].field"),
            ({"eligible": [{"field": "percentage", "at_least": "many"}]}, "eligible[0].at_least"),
            ({"require": [{"count": "scores", "at_least": "x"}]}, "require[0].at_least"),
            ({"require": [{"count": "scores", "at_least": 1, "where": [{"field": "level"}]}]}, "require[0].where[0]"),
            ({"value": {"aggregate": "mean", "take": {"best": "x"}}}, "value.take.best"),
            ({"score": [{"multiply_by": {"level": {"A": "x"}}}]}, "score[0].multiply_by.level"),
            ({"ties": [{"by": "luck"}]}, "ties[0].by"),
            ({"after": [{"places": "x"}]}, "after[0].places"),
            ({"decimals": "x"}, "decimals"),
            ({"season": {"from": "2027-13-01"}}, "season.from"),
            ({"tiers": [{"name": "gold"}]}, "tiers"),
        ],
    )
    def test_each_stands_at_the_block_it_belongs_to(self, changes: dict[str, Any], path: str) -> None:
        document = qualifying_scheme(**changes)
        problems = read_with_problems(document)[1]
        form = draw_scheme(document, problems=problems)
        at = [one.path for one in form.shown.values() if one.problems]
        assert path in at
        placed = [message for one in form.shown.values() for message in one.problems]
        assert sorted([*placed, *form.problems]) == sorted(problem.message for problem in problems)

    def test_an_empty_rule_says_what_it_needs(self) -> None:
        form = draw_scheme({}, problems=read_with_problems({})[1])
        assert form.shown["unit"].problems
        assert form.shown["value"].problems
