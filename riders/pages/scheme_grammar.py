"""The blocks of ``scheme/1`` as a form that a volunteer fills in, section by section, in the order of the stages."""

from __future__ import annotations

from dataclasses import dataclass

from riders.pages.scheme_conditions import FIELD_CHOICES
from riders.pages.scheme_nodes import Field, Lines
from riders.pages.scheme_records import Choice, Form, Forms, Key, Kind, Kinds, Many, Option, Part
from riders.pages.scheme_requirements import (
    AGGREGATE,
    CONDITIONS,
    DECIMAL,
    FIELDS,
    FLAG,
    LEDGER_FIELD,
    NUMBER_FIELD,
    REQUIREMENTS,
    ROUND,
    ROUNDING,
    WHOLE,
    choices,
    record,
    requirements,
)
from riders.pages.scheme_steps import FIGURES, steps
from riders.pages.scheme_tables import Rows
from scoring.season.requirements import COUNTS

_SEASON_NUMBER = record(
    Choice(
        "of",
        "worked out as",
        (
            Option(
                "the season's competitions, less",
                (Key("competitions_minus", "less", Field("whole", kept=True)),),
                (1,),
            ),
            Option(
                "a share of the season's competitions",
                (Key("share_of_competitions", "share, such as 0.5 for half", Field("decimal", kept=True)),),
                ("0.5",),
            ),
        ),
    ),
    Key("at_least", "but at least", WHOLE),
    Key("at_most", "but at most", WHOLE),
)
_HOW_MANY = Forms(
    (
        Form("a number", Field("whole", kept=True), ""),
        Form(
            "a number that depends on the season's competitions",
            _SEASON_NUMBER,
            {"competitions_minus": 1},
            ("competitions_minus", "share_of_competitions"),
        ),
    )
)
_TAKE = record(
    Choice(
        "which",
        "which count",
        (
            Option("the best", (Key("best", "how many", _HOW_MANY),), ("",)),
            Option("the last ridden", (Key("last", "how many", _HOW_MANY),), ("",)),
        ),
    ),
    Key("must", "those taken must have together", requirements(most=False)),
    Key("plus_all", "scores that always count, on top, where", CONDITIONS),
)
_DROP = record(
    Key("number", "how many are dropped", Field("whole", default="1")),
    Key("when_more_than", "only where there are more than", WHOLE),
    Key("protect", "keep one whose loss would break a requirement", Field("flag", default="no")),
)
_CHOOSING: tuple[Part, ...] = (
    Key("drop_lowest", "The lowest are dropped", _DROP, {"number": 1}, "Drop the lowest"),
    Key("take", "Only some count", _TAKE, {"best": ""}, "Count only the best or the last"),
)
_VALUE = record(
    Key(
        "first",
        "A stage before: one number for each ...",
        record(
            Key("by", "for each", FIELDS),
            *_CHOOSING,
            Key("aggregate", "its number is", AGGREGATE),
            Key("round", "It is rounded", ROUND, {"decimals": 3}, "Round it"),
        ),
        {"by": ["competition"], "aggregate": "mean"},
        "Work out a number for each show, kind, ... first",
    ),
    *_CHOOSING,
    Key("aggregate", "The value is", AGGREGATE),
    Key("add_per_score", "added for each score that counts", DECIMAL),
    Key(
        "add",
        "bonuses",
        Many(
            record(Key("when", "earned by", REQUIREMENTS), Key("amount", "amount", Field("decimal", kept=True))),
            "bonus",
            (("Add a bonus", {"when": [{"count": "scores", "at_least": ""}], "amount": ""}),),
        ),
    ),
    Key("add_field", "a figure of the unit that is added", Field("choice", (("", "none"), *NUMBER_FIELD.choices))),
)
_BAR = Forms(
    (
        Form("one bar", Field("decimal", kept=True), ""),
        Form(
            "compared in another way",
            record(
                Choice(
                    "how",
                    "the value must be",
                    tuple(
                        Option(
                            words,
                            (
                                Key(
                                    key,
                                    "bar",
                                    Forms(
                                        (
                                            Form("one bar", Field("decimal", kept=True), ""),
                                            Form("a bar by a field", FIGURES, {"level": {}}),
                                        )
                                    ),
                                ),
                            ),
                            ("",),
                        )
                        for key, words in (
                            ("at_least", "at least"),
                            ("above", "above"),
                            ("at_most", "at most"),
                            ("below", "below"),
                        )
                    ),
                )
            ),
            {"above": ""},
            ("at_least", "above", "at_most", "below"),
        ),
        Form("a bar that depends on a field of the tables", FIGURES, {"level": {}}),
    ),
    none="no bar",
)
_TIE = record(
    Key(
        "by",
        "decided by",
        Field(
            "choice",
            choices(
                ("best-score", "the best score"),
                ("next-best-scores", "the best scores, one after the other"),
                ("more-scores", "more scores"),
                ("fewer-scores", "fewer scores"),
                ("latest-score", "the latest score"),
                ("best-collectives", "the best collective marks"),
                ("mean-percentage", "the higher mean percentage"),
                ("most-firsts", "more first places"),
                ("better-in", "the better score among some"),
                ("more", "more of something counted"),
            ),
            kept=True,
        ),
    ),
    Key(
        "count",
        "what is counted (for more of something counted)",
        Field("choice", tuple((name, name) for name in COUNTS), default="scores"),
    ),
    Key(
        "of",
        "looks at",
        Field("choice", choices(("", "as usual"), ("counted", "the scores that count"), ("all", "dropped ones too"))),
    ),
    Key("where", "only of scores where", CONDITIONS),
)
_AFTER = Kinds(
    (
        Kind(
            "keep",
            "one title only, at the highest",
            record(
                Key("keep", "keeps", Field("choice", choices(("highest", "the highest")))),
                Key("of", "of", LEDGER_FIELD),
                Key("order", "from the lowest to the highest", Lines()),
                Key("number", "how many consecutive ones are kept", Field("whole", default="1")),
                Key("winners_only", "only winners give up a lower one", Field("flag", default="no")),
                Key(
                    "not_consecutive",
                    "neighbours that are not consecutive",
                    Rows(("lower", "higher"), "pairs"),
                ),
            ),
        ),
        Kind("one_per", "only the best of each", record(Key("one_per", "of each", LEDGER_FIELD))),
        Kind("places", "only the first places are given", record(Key("places", "how many", Field("whole", kept=True)))),
        Kind(
            "minimum_units",
            "no places in a table with too few",
            record(Key("minimum_units", "fewer than", Field("whole", kept=True))),
        ),
        Kind("exclude", "shut out of the ranking", record(Key("exclude", "units", Lines()))),
    )
)
_COMPETITIONS = Forms(
    (
        Form("as many as the calendar has", Field("whole", kept=True), ""),
        Form("those with a score where", CONDITIONS, [{"field": "recognised", "is": True}]),
    ),
    none="all in the ledger",
)
_SEASON = record(
    Choice(
        "days",
        "which days count",
        (
            Option(
                "from one day to another",
                (Key("from", "first day", Field("date")), Key("to", "last day", Field("date"))),
                ("", ""),
            ),
            Option("the last months", (Key("rolling_months", "months", Field("whole", kept=True)),), (12,)),
            Option("the last days", (Key("rolling_days", "days", Field("whole", kept=True)),), (365,)),
            Option("a lifetime", (Key("lifetime", "a lifetime", FLAG),), (True,)),
        ),
    ),
    Key("competitions", "the competitions of the season are", _COMPETITIONS),
)
_LIMIT = record(
    Key(
        "keep",
        "keep",
        Field(
            "choice",
            choices(("best", "the best"), ("first", "the first ridden"), ("last", "the last ridden")),
            kept=True,
        ),
    ),
    Key("number", "how many", Field("whole", kept=True)),
    Key("per", "of each", FIELDS),
    Key("where", "only of scores where", CONDITIONS),
)


@dataclass(frozen=True)
class Section:
    """Some keys of the document under one heading."""

    title: str
    about: str
    parts: tuple[Part, ...]


SECTIONS: tuple[Section, ...] = (
    Section(
        "What the rule is",
        "",
        (
            Key("title", "title", Field()),
            Key(
                "mode",
                "the rule",
                Field(
                    "choice",
                    choices(
                        ("rank", "ranks: a table with places"),
                        ("qualify", "qualifies: who has met the requirements, without places"),
                        ("achieve", "awards tiers, such as gold and silver"),
                    ),
                    default="rank",
                ),
            ),
            Key(
                "unit",
                "who is ranked",
                Field(
                    "choice",
                    tuple((n, w) for n, w in FIELD_CHOICES if n in ("pair", "rider", "horse", "team", "owner")),
                ),
            ),
            Key("group_by", "one table for each", FIELDS),
            Key("sources", "where the rule is written down", Lines("One source on each line.")),
        ),
    ),
    Section(
        "The season",
        "Which days count.",
        (Key("season", "the season", _SEASON, {"from": "", "to": ""}, "Set the days that count"),),
    ),
    Section(
        "Which scores count at all",
        "A score counts only if every one of these is true. Where the ledger does not know, it does not count.",
        (
            Key("eligible", "conditions", CONDITIONS),
            Key("rerank", "count places and starters again among these scores, for each", FIELDS),
        ),
    ),
    Section(
        "The number of each score",
        "It begins with the percentage, and each step changes it. Without a step it is the percentage.",
        (Key("score", "steps", steps()),),
    ),
    Section(
        "How many scores are looked at",
        "At most so many of each unit, before anything else is counted.",
        (Key("limit", "limits", Many(_LIMIT, "limit", (("Add a limit", {"keep": "best", "number": 1, "per": []}),))),),
    ),
    Section(
        "What is required",
        "What a unit must have ridden to have a place. It is counted over all scores, not only over those that count.",
        (
            Key("require", "requirements", REQUIREMENTS),
            Key(
                "tiers",
                "tiers, the highest first",
                Many(
                    record(Key("name", "name", Field(kept=True)), Key("require", "requirements", REQUIREMENTS)),
                    "tier",
                    (("Add a tier", {"name": "", "require": [{"count": "scores", "at_least": ""}]}),),
                ),
            ),
        ),
    ),
    Section(
        "The value of each unit",
        "How the figure in the table is worked out of the scores.",
        (
            Key("value", "the value", _VALUE, {"aggregate": "mean"}, "Work out a value"),
            Key("threshold", "the value must reach", _BAR),
            Key("decimals", "decimals of the value", Field("whole", default="3")),
            Key("rounding", "rounding", ROUNDING),
            Key(
                "order",
                "who wins",
                Field(
                    "choice", choices(("descending", "the highest"), ("ascending", "the lowest")), default="descending"
                ),
            ),
        ),
    ),
    Section(
        "Equal values",
        "What parts units with the same value, tried in this order. What remains equal shares the place.",
        (Key("ties", "tie steps", Many(_TIE, "tie step", (("Add a tie step", {"by": "best-score"}),))),),
    ),
    Section(
        "After the ranking",
        "Who leaves the ranking once everybody has a value.",
        (
            Key(
                "after",
                "steps",
                Many(
                    _AFTER,
                    "step",
                    (
                        ("Add: one title only, at the highest level", {"keep": "highest", "of": "level", "order": []}),
                        ("Add: only the best of each rider", {"one_per": "rider"}),
                        ("Add: only the first places", {"places": ""}),
                        ("Add: no places where there are too few", {"minimum_units": ""}),
                        ("Add: shut out", {"exclude": []}),
                    ),
                ),
            ),
        ),
    ),
)
HEAD = ("format", "id")
"""Keys that are not edited: the format, and the id that the draft keeps."""
