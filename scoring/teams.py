"""Teams of a class: the best scores of each, added up or averaged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from scoring.classes import TeamRules
from scoring.exact import Rounding, format_units, round_to_units
from scoring.placings import natural_order, places_by

__all__ = ["Member", "TeamResult", "team_results"]


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a team: the value it brings, or None; ``out`` once it has ended without a total."""

    number: str
    team: str
    value: Fraction | None
    out: bool


@dataclass(frozen=True, slots=True)
class TeamResult:
    """One team; without enough counting scores it has neither value nor place."""

    team: str
    placing: int | None
    value: str | None
    counting: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        return {"team": self.team, "placing": self.placing, "value": self.value, "counting": list(self.counting)}


def team_results(
    members: Iterable[Member], rules: TeamRules, *, decimals: int, rounding: Rounding
) -> tuple[TeamResult, ...]:
    """Work out the teams, placed ones first.

    The ``counting`` best values count: the highest, of penalties the lowest. A member that ended without a total counts
    with ``drop_out`` where that is given; one that is still running does not count yet. Values are rounded to
    ``decimals``; equal teams are parted by their worst counting value, the better first, else they share the place.
    """
    sign = -1 if rules.of == "penalty" else 1
    teams: dict[str, list[tuple[Fraction, str]]] = {}
    for member in members:
        values = teams.setdefault(member.team, [])
        value = rules.drop_out if member.value is None and member.out else member.value
        if value is not None:
            values.append((value, member.number))
    counted = {
        team: sorted(values, key=lambda pair: (-sign * pair[0], natural_order(pair[1])))[: rules.counting]
        for team, values in teams.items()
    }
    units = {
        team: round_to_units(_value(best, rules), decimals=decimals, rounding=rounding)
        for team, best in counted.items()
        if len(best) == rules.counting
    }
    return _placed(counted, units, sign=sign, decimals=decimals)


def _value(best: list[tuple[Fraction, str]], rules: TeamRules) -> Fraction:
    added = sum((value for value, _ in best), Fraction(0))
    return added / len(best) if rules.method == "mean" else added


def _placed(
    counted: Mapping[str, list[tuple[Fraction, str]]], units: Mapping[str, int], *, sign: int, decimals: int
) -> tuple[TeamResult, ...]:
    by_value = {team: sign * value for team, value in units.items()}
    places = places_by(by_value)
    for place in set(places.values()):
        equal = {team: sign * counted[team][-1][0] for team in places if places[team] == place}
        for team, behind in places_by(equal).items():
            places[team] = place + behind - 1
    results = [
        TeamResult(
            team=team,
            placing=places.get(team),
            value=format_units(units[team], decimals=decimals) if team in units else None,
            counting=tuple(number for _, number in best),
        )
        for team, best in counted.items()
    ]
    return tuple(sorted(results, key=lambda row: (row.placing is None, row.placing or 0, natural_order(row.team))))
