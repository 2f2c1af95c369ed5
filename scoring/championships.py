"""``championship/1``: the rule of a placing over several classes, and the results that it is worked out from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from scoring.exact import Rounding
from scoring.rulesets import TieStep

__all__ = [
    "FIGURES",
    "METHODS",
    "UNITS",
    "ChampionshipClass",
    "ChampionshipDocument",
    "ChampionshipRules",
    "ChampionshipStep",
    "ChampionshipTeams",
    "ClassEntry",
    "ClassTeam",
]

METHODS = ("total", "mean", "last-class-decides")
FIGURES = ("total", "penalty", "points", "placing")
UNITS = ("pair", "rider", "horse")


@dataclass(frozen=True, slots=True)
class ChampionshipStep(TieStep):
    """One step that may separate equal values; ``positions`` are the classes that it looks at, from 0."""

    positions: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class ChampionshipTeams:
    """How teams are placed over the classes.

    ``source`` is ``classes`` (the team results of the classes) or ``units`` (the values of the team's ``members``, by
    unit). ``of`` is ``value``, ``penalty`` or ``placing`` for teams of classes; ``counting`` None is all of them.
    """

    source: str
    method: str = "total"
    of: str = "value"
    counting: int | None = None
    drop_out: Fraction | None = None
    ties: tuple[ChampionshipStep, ...] = ()
    members: Mapping[str, str] = field(default_factory=dict)

    @property
    def lowest_wins(self) -> bool:
        return self.of != "value"


@dataclass(frozen=True, slots=True)
class ChampionshipRules:
    """The rule without its classes; the fields are the keys of ``championship/1``."""

    id: str
    title: str = ""
    sources: tuple[str, ...] = ()
    unit: str = "pair"
    method: str = "mean"
    of: str = "total"
    counting: int | None = None
    decimals: int = 3
    rounding: Rounding = Rounding.HALF_UP
    drop_out: Fraction | None = None
    ties: tuple[ChampionshipStep, ...] = ()
    tie_places: int | None = None
    teams: ChampionshipTeams | None = None

    @property
    def lowest_wins(self) -> bool:
        return self.of in ("penalty", "placing")


@dataclass(frozen=True, slots=True)
class ClassEntry:
    """One entry of a class for one unit; ``figures`` are published texts by name and stand only at a completed one.

    The names are ``total``, ``penalty``, ``points``, ``placing``, ``collectives``, ``part x`` and ``seat x``.
    """

    number: str
    status: str
    figures: Mapping[str, str] = field(default_factory=dict)

    def figure(self, name: str) -> Fraction | None:
        text = self.figures.get(name)
        return None if text is None else Fraction(text)


@dataclass(frozen=True, slots=True)
class ClassTeam:
    placing: int | None
    value: str | None


@dataclass(frozen=True, slots=True)
class ChampionshipClass:
    """One class: the entries of each unit (none of them hors concours), and its teams."""

    id: str
    title: str
    entries: Mapping[str, tuple[ClassEntry, ...]]
    teams: Mapping[str, ClassTeam]


@dataclass(frozen=True, slots=True)
class ChampionshipDocument:
    rules: ChampionshipRules
    classes: tuple[ChampionshipClass, ...]
    names: Mapping[str, str] = field(default_factory=dict)
