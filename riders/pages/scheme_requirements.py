"""Blocks that stand in many places of a scheme: fields, figures, conditions, requirements."""

from __future__ import annotations

from riders.pages.scheme_conditions import FIELD_CHOICES, TEST
from riders.pages.scheme_nodes import Field, Json
from riders.pages.scheme_records import Choice, Key, Kind, Kinds, Many, Option, Part, Record
from scoring.season.ledger import NUMBERS, spoken
from scoring.season.requirements import COUNTS

STAR = "A star * stands for every other one."


def choices(*pairs: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    return pairs


def record(*parts: Part) -> Record:
    return Record(parts)


WHOLE, DECIMAL, FLAG = Field("whole"), Field("decimal"), Field("flag")
LEDGER_FIELD = Field("choice", FIELD_CHOICES, kept=True)
FIELDS = Many(LEDGER_FIELD, "field", (("Add a field", ""),))
NUMBER_FIELD = Field("choice", tuple((name, spoken(name)) for name in NUMBERS), kept=True)
AGGREGATE = Field(
    "choice",
    choices(
        ("mean", "the mean"),
        ("median", "the median"),
        ("sum", "the sum"),
        ("best", "the best one"),
        ("count", "how many there are"),
    ),
)
ROUNDING = Field(
    "choice",
    choices(
        ("half-up", "an exact half up"),
        ("half-even", "an exact half to the even figure"),
        ("down", "cut off what is left over"),
    ),
    default="half-up",
)
SHARED = Field(
    "choice",
    choices(
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


def requirements(*, most: bool = True, depth: int = 2, inside: bool = False) -> Many:
    """Return a list of requirements; ``inside`` any_of, a list among them stands for all of its requirements."""
    need = Kind("count", "requirement", _need((_LEAST, _MOST, _SHARE) if most else (_LEAST, _SHARE)))
    blank: Json = {"count": "scores", "at_least": ""}
    kinds, blanks = [need], [("Add a requirement", blank)]
    listed = None
    if inside:
        listed = Kind("", "all of these", Many(Kinds((need,)), "requirement", (("Add a requirement", blank),)))
        blanks.append(("Add: several together", [blank]))
    if depth:
        inner = requirements(most=most, depth=depth - 1, inside=True)
        kinds.append(Kind("any_of", "one of these is enough", Record((Key("any_of", "one of these", inner),))))
        blanks.append(("Add: one of several is enough", {"any_of": [blank]}))
    return Many(Kinds(tuple(kinds), listed), "requirement", tuple(blanks), single=True)


REQUIREMENTS = requirements()
