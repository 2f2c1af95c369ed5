"""The blocks of ``scheme/1`` as a form that a volunteer fills in, section by section, in the order of the stages."""

from __future__ import annotations

from dataclasses import dataclass

from riders.pages.scheme_conditions import FIELD_CHOICES, TEST
from riders.pages.scheme_nodes import (
    Choice,
    Field,
    Form,
    Forms,
    Json,
    Key,
    Kind,
    Kinds,
    Lines,
    Many,
    Node,
    Option,
    Part,
    Record,
)
from riders.pages.scheme_tables import Entries, Rows, Table
from scoring.season.ledger import NUMBERS, spoken
from scoring.season.requirements import COUNTS

_STAR = "A star * stands for every other one."


def _choices(*pairs: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    return pairs


WHOLE, DECIMAL, FLAG = Field("whole"), Field("decimal"), Field("flag")
LEDGER_FIELD = Field("choice", FIELD_CHOICES, kept=True)
FIELDS = Many(LEDGER_FIELD, "field", (("Add a field", ""),))
NUMBER_FIELD = Field("choice", tuple((name, spoken(name)) for name in NUMBERS), kept=True)
AGGREGATE = Field(
    "choice",
    _choices(
        ("mean", "the mean"),
        ("median", "the median"),
        ("sum", "the sum"),
        ("best", "the best one"),
        ("count", "how many there are"),
    ),
)
ROUNDING = Field(
    "choice",
    _choices(
        ("half-up", "an exact half up"),
        ("half-even", "an exact half to the even figure"),
        ("down", "cut off what is left over"),
    ),
    default="half-up",
)
SHARED = Field(
    "choice",
    _choices(
        ("same", "each its own points"),
        ("mean", "the points of the places taken up, divided"),
        ("dense", "its own points, and the next place counts as only one lower"),
    ),
    default="same",
)
ROUND = Record((Key("decimals", "decimals", WHOLE), Key("rounding", "rounding", ROUNDING)))


def _conditions(depth: int = 3) -> Many:
    """Return a list of conditions; inside any, all and not they go so many deep, and deeper ones are shown as text."""
    blanks: list[tuple[str, Json]] = [("Add a condition", {"field": "", "is": ""})]
    kinds: list[Kind] = [Kind("field", "condition", TEST)]
    if depth:
        inner = _conditions(depth - 1)
        for join, label, button in (
            ("any", "at least one of these", "Add: at least one of several"),
            ("all", "all of these", "Add: all of several"),
            ("not", "not this", "Add: not"),
        ):
            kinds.append(Kind(join, label, Record((Key(join, label, inner),))))
            blanks.append((button, {join: [{"field": "", "is": ""}]}))
    return Many(Kinds(tuple(kinds)), "condition", tuple(blanks), single=True)


CONDITIONS = _conditions()


def _need(bounds: tuple[Option, ...]) -> Record:
    counts = Field("choice", tuple((name, name) for name in COUNTS), kept=True)
    return Record(
        (
            Key("count", "what is counted", counts),
            Choice("bound", "how many", bounds),
            Key("where", "only of scores where", CONDITIONS),
        )
    )


_LEAST = Option("at least", (Key("at_least", "number", Field("whole", kept=True)),), ("",))
_MOST = Option("at most", (Key("at_most", "number", Field("whole", kept=True)),), ("",))
_SHARE = Option(
    "a share of the season's competitions",
    (Key("share_of_competitions", "share, such as 0.5 for half", Field("decimal", kept=True)),),
    ("",),
)


def _requirements(*, most: bool = True, depth: int = 2, inside: bool = False) -> Many:
    """Return a list of requirements; ``inside`` any_of, a list among them stands for all of its requirements."""
    need = Kind("count", "requirement", _need((_LEAST, _MOST, _SHARE) if most else (_LEAST, _SHARE)))
    blank: Json = {"count": "scores", "at_least": ""}
    kinds, blanks = [need], [("Add a requirement", blank)]
    listed = None
    if inside:
        listed = Kind("", "all of these", Many(Kinds((need,)), "requirement", (("Add a requirement", blank),)))
        blanks.append(("Add: several together", [blank]))
    if depth:
        inner = _requirements(most=most, depth=depth - 1, inside=True)
        kinds.append(Kind("any_of", "one of these is enough", Record((Key("any_of", "one of these", inner),))))
        blanks.append(("Add: one of several is enough", {"any_of": [blank]}))
    return Many(Kinds(tuple(kinds), listed), "requirement", tuple(blanks), single=True)


REQUIREMENTS = _requirements()
_FIGURES = Table(FIELD_CHOICES, Rows(("value", "figure"), hint=_STAR))
_PLACES = Rows(("place", "points"), hint="A star * stands for every other place; without it they earn nothing.")


def _record(*parts: Part) -> Record:
    return Record(parts)


def _steps(depth: int = 2) -> Many:
    """Return the steps to the number of a score; steps inside steps go so many deep, deeper ones are shown as text."""
    shared = Key("shared", "a shared place earns", SHARED)
    kinds: list[tuple[str, str, Node, str, Json]] = [
        ("take", "take a figure of the ledger", _record(Key("take", "figure", NUMBER_FIELD)), "Take a figure", ""),
        ("constant", "take a fixed number", _record(Key("constant", "number", Field("decimal", kept=True))), "", ""),
        (
            "places",
            "points by place",
            _record(Key("places", "points", _PLACES), shared),
            "Points by place",
            {"1": "", "*": "0"},
        ),
        (
            "places_by_starters",
            "points by place and size of class",
            _record(
                Key(
                    "places_by_starters",
                    "tables",
                    Entries("starters", _PLACES, {"1": ""}, hint="Write the number of starters as 3, 3-5 or 5+."),
                ),
                shared,
            ),
            "Points by place and size of class",
            {"1-4": {"1": ""}},
        ),
        (
            "from_starters",
            "the winner earns the number of starters, each next place one less",
            _record(Key("from_starters", "", _record(Key("most", "at most", DECIMAL))), shared),
            "Points from the number of starters",
            {"most": ""},
        ),
        (
            "riders_beaten",
            "points for each rider placed behind",
            _record(Key("riders_beaten", "points for each", Field("decimal", kept=True))),
            "Points for riders beaten",
            "1",
        ),
        (
            "bands",
            "points by bands",
            _record(
                Key("bands", "bands", Rows(("from", "points"), "pairs", hint="Each band begins at its lower bound.")),
                Key("below", "points below the lowest band", DECIMAL),
            ),
            "Points by bands",
            [],
        ),
        ("multiply", "multiply", _record(Key("multiply", "by", Field("decimal", kept=True))), "Multiply", ""),
        ("divide", "divide", _record(Key("divide", "by", Field("decimal", kept=True))), "Divide", ""),
        ("add", "add", _record(Key("add", "number", Field("decimal", kept=True))), "Add a number", ""),
        (
            "multiply_by",
            "multiply by a figure that depends on a field",
            _record(Key("multiply_by", "figures", _FIGURES)),
            "Multiply by level, kind, ...",
            {"level": {}},
        ),
        (
            "add_by",
            "add a figure that depends on a field",
            _record(Key("add_by", "figures", _FIGURES)),
            "Add by level, kind, ...",
            {"level": {}},
        ),
        (
            "linear",
            "a straight line: a times the number, plus b",
            _record(
                Key(
                    "linear",
                    "lines",
                    Table(FIELD_CHOICES, Rows(("value", "a", "b"), "lines", hint=_STAR)),
                )
            ),
            "A straight line",
            {"kind": {}},
        ),
        ("round", "round", _record(Key("round", "", ROUND)), "Round", {"decimals": 0}),
    ]
    if depth:
        inner = _steps(depth - 1)
        kinds += [
            ("plus", "add a second number", _record(Key("plus", "its steps", inner)), "Add a second number", []),
            (
                "when",
                "only where",
                _record(
                    Key("when", "where", CONDITIONS),
                    Key("then", "do this", inner),
                    Key("else", "otherwise this", inner),
                ),
                "Do something only where ...",
                [{"field": "", "is": ""}],
            ),
        ]
    blanks = tuple((f"Add: {button or label}", {key: blank}) for key, label, _, button, blank in kinds)
    return Many(Kinds(tuple(Kind(key, label, node) for key, label, node, _, _ in kinds)), "step", blanks)


_SEASON_NUMBER = _record(
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
_TAKE = _record(
    Choice(
        "which",
        "which count",
        (
            Option("the best", (Key("best", "how many", _HOW_MANY),), ("",)),
            Option("the last ridden", (Key("last", "how many", _HOW_MANY),), ("",)),
        ),
    ),
    Key("must", "those taken must have together", _requirements(most=False)),
    Key("plus_all", "scores that always count, on top, where", CONDITIONS),
)
_DROP = _record(
    Key("number", "how many are dropped", Field("whole", default="1")),
    Key("when_more_than", "only where there are more than", WHOLE),
    Key("protect", "keep one whose loss would break a requirement", Field("flag", default="no")),
)
_CHOOSING: tuple[Part, ...] = (
    Key("drop_lowest", "The lowest are dropped", _DROP, {"number": 1}, "Drop the lowest"),
    Key("take", "Only some count", _TAKE, {"best": ""}, "Count only the best or the last"),
)
_VALUE = _record(
    Key(
        "first",
        "A stage before: one number for each ...",
        _record(
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
            _record(Key("when", "earned by", REQUIREMENTS), Key("amount", "amount", Field("decimal", kept=True))),
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
            _record(
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
                                            Form("a bar by a field", _FIGURES, {"level": {}}),
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
        Form("a bar that depends on a field of the tables", _FIGURES, {"level": {}}),
    ),
    none="no bar",
)
_TIE = _record(
    Key(
        "by",
        "decided by",
        Field(
            "choice",
            _choices(
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
        Field("choice", _choices(("", "as usual"), ("counted", "the scores that count"), ("all", "dropped ones too"))),
    ),
    Key("where", "only of scores where", CONDITIONS),
)
_AFTER = Kinds(
    (
        Kind(
            "keep",
            "one title only, at the highest",
            _record(
                Key("keep", "keeps", Field("choice", _choices(("highest", "the highest")))),
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
        Kind("one_per", "only the best of each", _record(Key("one_per", "of each", LEDGER_FIELD))),
        Kind(
            "places", "only the first places are given", _record(Key("places", "how many", Field("whole", kept=True)))
        ),
        Kind(
            "minimum_units",
            "no places in a table with too few",
            _record(Key("minimum_units", "fewer than", Field("whole", kept=True))),
        ),
        Kind("exclude", "shut out of the ranking", _record(Key("exclude", "units", Lines()))),
    )
)
_COMPETITIONS = Forms(
    (
        Form("as many as the calendar has", Field("whole", kept=True), ""),
        Form("those with a score where", CONDITIONS, [{"field": "recognised", "is": True}]),
    ),
    none="all in the ledger",
)
_SEASON = _record(
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
_LIMIT = _record(
    Key(
        "keep",
        "keep",
        Field(
            "choice",
            _choices(("best", "the best"), ("first", "the first ridden"), ("last", "the last ridden")),
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
                    _choices(
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
        (Key("score", "steps", _steps()),),
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
                    _record(Key("name", "name", Field(kept=True)), Key("require", "requirements", REQUIREMENTS)),
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
                    "choice", _choices(("descending", "the highest"), ("ascending", "the lowest")), default="descending"
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
