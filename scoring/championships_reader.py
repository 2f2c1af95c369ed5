"""Reading ``championship/1``: the rule, and the results of its classes with the unit that each entry stands for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from scoring.championships import (
    FIGURES,
    METHODS,
    UNITS,
    ChampionshipClass,
    ChampionshipDocument,
    ChampionshipRules,
    ChampionshipStep,
    ChampionshipTeams,
    ClassEntry,
    ClassTeam,
)
from scoring.documents import InvalidDocument, Problem, Reader, describe, take_format
from scoring.exact import Rounding
from scoring.results_reader import results_from

__all__ = ["championship_from", "championship_rules_from", "read_championship", "read_championship_rules"]

_MOST_CLASSES = 20
_MOST_DECIMALS = 9
_MOST_TIE_STEPS = 20
_UNIT_STEPS: Mapping[str, str | None] = {
    "total": None,
    "placing": None,
    "collectives": None,
    "part": "part",
    "seat": "seat",
    "best-class": None,
    "mean": None,
}
_TEAM_STEPS: Mapping[str, str | None] = {"value": None, "placing": None, "best-class": None}
_FIGURES = ("total", "penalty", "points", "collectives")


def read_championship(document: object) -> ChampionshipDocument:
    """Read a ``championship/1`` document; raise :class:`InvalidDocument` with every problem in it.

    Beyond the shapes, these are refused: an entry number that the results of its class do not have, a class that
    stands twice, a completed entry without the figure that counts, a tie step that looks at a class, part or seat that
    does not exist, and settings that contradict each other (the best classes where the last one decides alone).
    """
    reader = Reader.over(document)
    found = championship_from(reader)
    if reader.problems or found is None:
        raise InvalidDocument(reader.problems)
    return found


def read_championship_rules(document: object, *, classes: int) -> ChampionshipRules:
    """Read the rule alone, for so many classes: a ``championship/1`` document without ``classes`` and ``names``."""
    reader = Reader.over(document)
    take_format(reader, "championship/1")
    found = championship_rules_from(reader, classes=classes)
    reader.finish()
    if reader.problems:
        raise InvalidDocument(reader.problems)
    return found


def championship_from(reader: Reader) -> ChampionshipDocument | None:
    """Read a championship inside another document, adding to the shared problems; None when it cannot be used."""
    if not reader.usable:
        return None
    before = len(reader.problems)
    take_format(reader, "championship/1")
    number = len(reader.take_list("classes", required=True))
    rules = championship_rules_from(reader, classes=number)
    classes = tuple(_class(child, rules) for child in reader.objects("classes"))
    if isinstance(reader.raw("classes"), list) and not 2 <= number <= _MOST_CLASSES:
        message = f"A championship has 2 to {_MOST_CLASSES} classes; {number} stand here. Give each with its results."
        reader.problem("classes", message)
    for index, found in enumerate(classes):
        if found.id and any(found.id == other.id for other in classes[:index]):
            reader.problem(f"classes[{index}].results.class", f'The class "{found.id}" stands twice. Keep it once.')
    names = dict(_texts_by_key(reader, "names"))
    reader.finish()
    _check_arguments(reader, rules, classes)
    return ChampionshipDocument(rules, classes, names) if len(reader.problems) == before else None


def championship_rules_from(reader: Reader, *, classes: int) -> ChampionshipRules:
    """Read the keys of the rule, adding to the shared problems."""
    method = reader.take_choice("method", METHODS, required=True, default="mean")
    rules = ChampionshipRules(
        id=reader.take_text("id", required=True, empty=False),
        title=reader.take_text("title"),
        sources=tuple(_texts(reader, "sources")),
        unit=reader.take_choice("unit", UNITS, default="pair"),
        method=method,
        of=reader.take_choice("of", FIGURES, default="total"),
        counting=reader.take_int("counting", least=1, most=max(classes, 1)),
        decimals=reader.take_int("decimals", required=True, most=_MOST_DECIMALS) or 0,
        rounding=Rounding(reader.take_choice("rounding", tuple(Rounding), default="half-up")),
        drop_out=reader.take_decimal("drop_out", least=0, most=10**6),
        ties=tuple(_steps(reader, _UNIT_STEPS, classes)),
        tie_places=reader.take_int("tie_places", least=1),
        teams=_teams(reader, classes),
    )
    if method == "last-class-decides":
        for key, value in (("counting", rules.counting), ("drop_out", rules.drop_out)):
            if value is not None:
                reader.problem(key, f'The last class decides alone, so "{key}" has no use. Set it to null.')
    return rules


def _teams(reader: Reader, classes: int) -> ChampionshipTeams | None:
    child = reader.take_object("teams")
    if child is None:
        return None
    source = child.take_choice("from", ("classes", "units"), required=True, default="classes")
    lowest = reader.raw("of") in ("penalty", "placing")
    of_units = source == "units"
    teams = ChampionshipTeams(
        source=source,
        method="mean" if child.take_choice("method", ("sum", "mean"), required=True) == "mean" else "total",
        of="penalty"
        if of_units and lowest
        else child.take_choice("of", ("value", "penalty", "placing"), default="value"),
        counting=child.take_int("counting", least=1, most=1000 if of_units else max(classes, 1)),
        drop_out=child.take_decimal("drop_out", least=0, most=10**6),
        ties=() if of_units else tuple(_steps(child, _TEAM_STEPS, classes)),
        members=dict(_texts_by_key(child, "members")) if of_units else {},
    )
    if of_units and child.has("of"):
        child.problem("of", "A team of units counts what the units count. Leave this out.")
    if of_units and child.has("ties"):
        child.problem("ties", "Equal teams of units are parted by their worst counting value. Leave this out.")
    if of_units and not teams.members:
        child.problem("members", "The teams have no members. Name the team of each unit.")
    if not of_units and teams.drop_out is not None:
        child.problem("drop_out", "It is the class that says what a drop-out counts. Set this to null.")
    if not of_units and child.has("members"):
        child.problem("members", "The teams come from the classes. Leave the members out.")
    child.finish(known=("of", "ties"))
    return teams


def _steps(reader: Reader, known: Mapping[str, str | None], classes: int) -> Iterator[ChampionshipStep]:
    if len(reader.take_list("ties")) > _MOST_TIE_STEPS:
        reader.problem("ties", f"There are more than {_MOST_TIE_STEPS} steps. Keep those that can part anything.")
        return
    for child in reader.objects("ties"):
        by = child.take_choice("by", tuple(known), required=True)
        argument = known.get(by)
        text = "" if argument is None else child.take_text(argument, required=True, empty=False)
        positions: tuple[int, ...] = ()
        if by == "mean":
            positions = tuple(_positions(child, classes))
        elif by and by != "best-class":
            position = child.take_int("class", required=True, least=1, most=max(classes, 1))
            positions = () if position is None else (position - 1,)
        child.finish()
        if by:
            yield ChampionshipStep(by, text, positions)


def _positions(reader: Reader, classes: int) -> Iterator[int]:
    """Take the numbers of the classes of a mean; without the key, all of them."""
    if not reader.has("classes"):
        yield from range(classes)
        return
    given = reader.take_list("classes")
    if not given:
        reader.problem("classes", "No class is named. Name those whose totals are averaged, or leave this out for all.")
    for index, number in enumerate(given):
        if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= classes:
            message = f"{describe(number)} is no class here. Give numbers from 1 to {classes}."
            reader.problem(f"classes[{index}]", message)
        elif number in given[:index]:
            reader.problem(f"classes[{index}]", f"Class {number} stands twice. Name it once.")
        else:
            yield number - 1


def _class(reader: Reader, rules: ChampionshipRules) -> ChampionshipClass:
    title = reader.take_text("title")
    results = reader.take_object("results", required=True)
    units = dict(_texts_by_key(reader, "units", required=True))
    before = len(reader.problems)
    if results is not None:
        results_from(results)
    usable = len(reader.problems) == before
    reader.finish()
    if results is None or not usable:
        return ChampionshipClass("", title, {}, {})
    class_id = str(results.value["class"])
    found = dict(_entries(reader, results, units, rules))
    teams = {team["team"]: ClassTeam(team.get("placing"), team.get("value")) for team in results.value["teams"]}  # type: ignore[attr-defined]
    return ChampionshipClass(class_id, title or class_id, found, teams)


def _entries(
    reader: Reader, results: Reader, units: Mapping[str, str], rules: ChampionshipRules
) -> Iterator[tuple[str, tuple[ClassEntry, ...]]]:
    """Sort the entries by unit, those hors concours left out; an entry that no unit is given for takes no part."""
    rows: list[Mapping[str, object]] = results.value["entries"]  # type: ignore[assignment]
    numbers = {row["number"] for row in rows}
    for number in units:
        if number not in numbers:
            message = f"The results have no entry {describe(number)}. Correct the number or leave it out."
            reader.problem(f"units.{number}", message)
    found: dict[str, list[ClassEntry]] = {}
    for index, row in enumerate(rows):
        unit = units.get(str(row["number"]))
        if unit is None or row.get("hors_concours"):
            continue
        entry = _entry(row)
        for name in (name for name, text in entry.figures.items() if text.startswith("-")):
            results.problem(f"entries[{index}]", f"The figure {name} is {entry.figures[name]}. Nothing goes below 0.")
        found.setdefault(unit, []).append(entry)
        if entry.status == "completed" and rules.of != "placing" and rules.of not in entry.figures:
            message = (
                f'Entry {describe(entry.number)} has no {rules.of}, which is what counts. Give it, or change "of".'
            )
            results.problem(f"entries[{index}].{rules.of}", message)
    yield from ((unit, tuple(entries)) for unit, entries in found.items())


def _entry(row: Mapping[str, object]) -> ClassEntry:
    number, status = str(row["number"]), str(row["status"])
    if status != "completed":
        return ClassEntry(number, status)
    figures = {name: value for name in _FIGURES if (value := row.get(name)) is not None}
    if row.get("placing") is not None:
        figures["placing"] = str(row["placing"])
    parts: Mapping[str, object] = row.get("parts") or {}  # type: ignore[assignment]
    sheets: Mapping[str, Mapping[str, object]] = row.get("sheets") or {}  # type: ignore[assignment]
    figures |= {f"part {name}": value for name, value in parts.items() if value is not None}
    figures |= {
        f"seat {name}": sheet["percentage"] for name, sheet in sheets.items() if sheet and sheet.get("percentage")
    }
    return ClassEntry(number, status, {name: str(value) for name, value in figures.items()})


def _check_arguments(reader: Reader, rules: ChampionshipRules, classes: tuple[ChampionshipClass, ...]) -> None:
    """Report a part or a seat of a step that the results of its class do not have, where they have any."""
    for index, step in enumerate(rules.ties):
        if not step.argument or not step.positions or step.positions[0] >= len(classes):
            continue
        entries = [entry for found in classes[step.positions[0]].entries.values() for entry in found]
        names = {
            name.removeprefix(f"{step.by} ") for e in entries for name in e.figures if name.startswith(f"{step.by} ")
        }
        if names and step.argument not in names:
            message = f"That class has no {step.by} {describe(step.argument)}. Give one of: {', '.join(sorted(names))}."
            reader.problem(f"ties[{index}].{step.by}", message)


def _texts_by_key(reader: Reader, key: str, *, required: bool = False) -> Iterator[tuple[str, str]]:
    child = reader.take_object(key, required=required)
    if child is None:
        return
    for name in child.value:
        text = child.take_text(name, required=True, empty=False)
        if text.strip():
            yield name, text


def _texts(reader: Reader, key: str) -> Iterator[str]:
    for index, text in enumerate(reader.take_list(key)):
        if isinstance(text, str):
            yield text
        else:
            message = f"Here stands {describe(text)}. Give a text in quotation marks."
            reader.problems.append(Problem(f"{reader.at(key)}[{index}]", message))
