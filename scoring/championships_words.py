"""What a championship's rule will do, in plain sentences made from its data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scoring.championships import ChampionshipRules, ChampionshipStep, ChampionshipTeams
from scoring.championships_table import listed
from scoring.exact import format_exact

__all__ = ["describe_championship"]

_FIGURES = {"total": "total", "penalty": "penalty", "points": "points", "placing": "place"}
_ROUNDING = {
    "half-up": "an exact half is rounded up",
    "half-even": "an exact half is rounded to the even figure",
    "down": "what is left over is cut",
}


def describe_championship(rules: ChampionshipRules, titles: Sequence[str]) -> list[str]:
    """Say in plain sentences how a championship is placed; ``titles`` are those of its classes in order.

    >>> rules = ChampionshipRules("c", method="mean", ties=(ChampionshipStep("part", "artistic", (1,)),), tie_places=3)
    >>> for sentence in describe_championship(rules, ["Special", "Freestyle"]):
    ...     print(sentence)
    The mean of the total in Special and Freestyle decides, to 3 decimals; an exact half is rounded up.
    The highest wins.
    A pair that lacks a figure it needs is listed without a place.
    Equal ones up to place 3 are parted by the part artistic of Freestyle. What stays equal shares the place.
    Rides hors concours do not count.
    """
    return list(_sentences(rules, titles))


def _sentences(rules: ChampionshipRules, titles: Sequence[str]) -> Iterator[str]:
    yield _value(rules, titles)
    yield "The lowest wins." if rules.lowest_wins else "The highest wins."
    if rules.drop_out is not None:
        yield f"A class that ends without a figure counts as {format_exact(rules.drop_out)}."
    yield f"A {rules.unit} that lacks a figure it needs is listed without a place."
    yield _ties(rules.ties, titles, rules.tie_places)
    yield "Rides hors concours do not count."
    if rules.teams is not None:
        yield from _teams(rules.teams, titles)


def _value(rules: ChampionshipRules, titles: Sequence[str]) -> str:
    figure = _FIGURES[rules.of]
    decimals = "no decimals" if rules.decimals == 0 else f"{rules.decimals} decimal{'' if rules.decimals == 1 else 's'}"
    rounding = f"to {decimals}; {_ROUNDING[rules.rounding.value]}"
    if rules.method == "last-class-decides":
        return f"The {figure} in {titles[-1] if titles else 'the last class'} alone decides, {rounding}."
    what = "mean" if rules.method == "mean" else "sum"
    best = f"best {rules.counting} of " if rules.counting is not None and rules.counting < len(titles) else ""
    return f"The {what} of the {best}{figure} in {listed(list(titles))} decides, {rounding}."


def _ties(ties: Sequence[ChampionshipStep], titles: Sequence[str], places: int | None) -> str:
    if not ties:
        return "Equal ones share the place."
    where = "" if places is None else f" up to place {places}"
    steps = ", then by ".join(_step(step, titles) for step in ties)
    return f"Equal ones{where} are parted by {steps}. What stays equal shares the place."


def _step(step: ChampionshipStep, titles: Sequence[str]) -> str:
    where = listed([titles[position] for position in step.positions if position < len(titles)])
    return {
        "total": f"the total in {where}",
        "placing": f"the place in {where}",
        "value": f"the value in {where}",
        "collectives": f"the collective marks of {where}",
        "part": f"the part {step.argument} of {where}",
        "seat": f"the percentage of seat {step.argument} in {where}",
        "mean": f"the mean total of {where}",
    }.get(step.by, "the best figure in one class")


def _teams(teams: ChampionshipTeams, titles: Sequence[str]) -> Iterator[str]:
    what = "mean" if teams.method == "mean" else "sum"
    if teams.source == "units":
        best = "all" if teams.counting is None else f"the best {teams.counting}"
        yield f"A team has the {what} of the values of {best} of its members."
        if teams.drop_out is not None:
            yield f"A member without a value counts as {format_exact(teams.drop_out)}."
        yield "Equal teams are parted by the worst value that counts."
        return
    best = "" if teams.counting is None or teams.counting >= len(titles) else f"best {teams.counting} of the "
    figure = "places" if teams.of == "placing" else "team values"
    yield f"A team has the {what} of its {best}{figure} in {listed(list(titles))}."
    yield _ties(teams.ties, titles, None).replace("Equal ones", "Equal teams")
