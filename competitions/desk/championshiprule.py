"""A championship as it was typed at the desk: read into a rule, told in sentences, and shown again as typed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from django.http import QueryDict

import scoring
from competitions.desk.forms.championships import (
    DEFAULTS,
    ChampionshipForm,
    class_rows,
    initial_of,
    initial_steps,
    steps_of,
    team_tie_rows,
    tie_rows,
)
from competitions.models import Championship, Competition, CompetitionClass
from competitions.selectors.championships import describe_championship, units_of_classes

_TEAM_FIELDS = {"from", "method", "of", "counting", "drop_out"}


class ChampionshipForms:
    """The forms that make up a championship: its rule, its classes in order, its tie steps and those of its teams."""

    def __init__(
        self, competition: Competition, *, championship: Championship | None = None, data: QueryDict | None = None
    ) -> None:
        self.competition, self.championship = competition, championship
        self.known = list(competition.classes.order_by("date", "starts_at", "number", "pk"))
        kept = championship.document if championship else {}
        numbers = _numbers(championship)
        offered = [(found.number, f"{found.number}: {found.title}") for found in self.known]
        teams = kept.get("teams") or {}
        ties, team_ties = kept.get("ties") or [], teams.get("ties") or []
        self.kept = kept
        self.form = ChampionshipForm(
            data,
            initial=initial_of(kept, members=self._member_lines(teams, numbers)) if kept else {"decimals": 3},
            new=championship is None,
        )
        self.classes = class_rows(filled=len(numbers), offered=len(offered))(
            data,
            prefix="classes",
            initial=[{"number": number} for number in numbers],
            form_kwargs={"offered": offered},
        )
        self.ties = tie_rows(filled=len(ties))(data, prefix="ties", initial=initial_steps(ties, numbers))
        self.team_ties = team_tie_rows(filled=len(team_ties))(
            data, prefix="team-ties", initial=initial_steps(team_ties, numbers)
        )
        self.rows = {"ties": list[int](), "teams.ties": list[int]()}
        self.rules: dict[str, Any] = {} if data is not None else dict(kept)
        self.chosen: list[CompetitionClass] = self._classes(numbers) if data is None else []
        self.read = data is None or self._read()

    @property
    def titles(self) -> list[str]:
        return [f"Class {found.number}" for found in self.chosen]

    @property
    def sentences(self) -> list[str]:
        """Tell the rule as it is typed, or nothing where it cannot be read."""
        if not self.rules or self.has_errors():
            return []
        document = {**self._document(), "classes": [{"title": title} for title in self.titles]}
        return list(describe_championship(document))

    @property
    def digest(self) -> str:
        """Name the rule and its classes, so that a saving can tell whether these sentences have been read."""
        rule = {key: value for key, value in self._document().items() if not _needless(key, value)}
        content = json.dumps([rule, self.titles], sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(content.encode()).hexdigest()[:16]

    @property
    def faults(self) -> list[str]:
        """Return every sentence that stands beside some field, in the order of the page."""
        found = [sentence for errors in self.form.errors.values() for sentence in errors]
        for rows in (self.classes, self.ties, self.team_ties):
            found += rows.non_form_errors()
            found += [sentence for row in rows.forms for errors in row.errors.values() for sentence in errors]
        return [str(sentence) for sentence in dict.fromkeys(found)]

    def has_errors(self) -> bool:
        return self.form.is_bound and bool(self.faults)

    def report(self, problems: list[tuple[str, str]]) -> None:
        """Put each problem of the rule beside the field that it is about; the rest stand above the form."""
        for where, sentence in problems:
            path = where.removeprefix("rules.")
            row = self._row_at(path)
            if row is not None:
                form, field = row
                form.add_error(field if field in form.fields else None, sentence)
                continue
            name = path.split("[")[0]
            if name.startswith("teams"):
                name = name.removeprefix("teams.").split(".")[0]
                name = "members" if name == "members" else f"teams_{name}" if name in _TEAM_FIELDS else "teams_from"
            self.form.add_error(name if name in self.form.fields else None, sentence)

    def _row_at(self, path: str) -> tuple[Any, str] | None:
        """Return the row that a path such as ``ties[1].part`` is about, and its field."""
        for prefix, rows in (("teams.ties", self.team_ties), ("ties", self.ties)):
            if path.startswith(f"{prefix}["):
                position, _, key = path.removeprefix(f"{prefix}[").partition("]")
                fields = {"class": "where", "classes": "where", "part": "what", "seat": "what"}
                return rows.forms[self.rows[prefix][int(position)]], fields.get(key.lstrip(".").split("[")[0], "by")
        if path.startswith("classes["):
            position = path.removeprefix("classes[").partition("]")[0]
            filled = [row for row in self.classes.forms if row.cleaned_data.get("number")]
            return filled[int(position)], "number"
        return None

    def _classes(self, numbers: list[str]) -> list[CompetitionClass]:
        by_number = {found.number: found for found in self.known}
        return [by_number[number] for number in numbers if number in by_number]

    def _read(self) -> bool:
        """Read what was typed; every fault is put beside its field, and the rule is there where there is none."""
        valid = [part.is_valid() for part in (self.form, self.classes, self.ties, self.team_ties)]
        rows = [row for row in self.classes.forms if row.is_valid()]
        self.chosen = self._classes([row.cleaned_data["number"] for row in rows if row.cleaned_data.get("number")])
        if not self.form.is_valid():
            return False
        self.rules = self._rules()
        if all(valid) and not self.faults:
            try:
                scoring.read_championship_rules(self._document(), classes=len(self.chosen))
            except scoring.InvalidDocument as error:
                self.report([(found.path, found.message) for found in error.problems])
        return not self.faults

    def _rules(self) -> dict[str, Any]:
        row, numbers = self.form.cleaned_data, [found.number for found in self.chosen]
        names = ("unit", "method", "of", "counting", "decimals", "rounding", "tie_places")
        rules: dict[str, Any] = {name: row[name] for name in names}
        rules["drop_out"] = row["drop_out"] or None
        rules["ties"] = self._steps("ties", self.ties, numbers)
        rules["sources"] = [line.strip() for line in row["sources"].splitlines() if line.strip()]
        rules["teams"] = self._teams(row, numbers)
        rules |= {key: value for key, value in self.kept.items() if key.startswith("x-")}
        return {key: value for key, value in rules.items() if key in self.kept or not _needless(key, value)}

    def _teams(self, row: Mapping[str, Any], numbers: list[str]) -> dict[str, Any] | None:
        if not row["teams_from"]:
            return None
        teams = {"from": row["teams_from"], "method": row["teams_method"] or "sum"}
        if row["teams_counting"] is not None:
            teams["counting"] = row["teams_counting"]
        if row["teams_from"] == "classes":
            steps = self._steps("teams.ties", self.team_ties, numbers)
            return teams | {"of": row["teams_of"] or "value"} | ({"ties": steps} if steps else {})
        teams |= {"drop_out": row["teams_drop_out"]} if row["teams_drop_out"] else {}
        return teams | {"members": self._members(row["members"], row["unit"])}

    def _steps(self, key: str, rows: Any, numbers: list[str]) -> list[dict[str, Any]]:
        found = list(steps_of(rows, numbers))
        self.rows[key] = [index for index, _ in found]
        return [step for _, step in found]

    def _members(self, typed: str, unit: str) -> dict[str, str]:
        """Read the lines of the members; without any, those whose entries name a team."""
        units = units_of_classes(self.chosen, unit=unit)
        if not typed.strip():
            found = {key: teams[0] for key, (_, teams) in units.items() if len(teams) == 1}
            for name, teams in units.values():
                if len(teams) > 1:
                    said = f"{name} rides for {' and '.join(teams)}. Write the members down, each with one team."
                    self.form.add_error("members", said)
            return found
        stored = (self.kept.get("teams") or {}).get("members") or {}
        by_name: dict[str, list[str]] = {}
        for key, (name, _) in units.items():
            by_name.setdefault(name.casefold(), []).append(key)
        members = {}
        for line in filter(None, map(str.strip, typed.splitlines())):
            team, _, member = (part.strip() for part in line.partition(":"))
            keys = [member] if member in units or member in stored else by_name.get(member.casefold(), [])
            if not team or not member:
                self.form.add_error("members", f'"{line}" is not a member. Write the team, a colon, then the {unit}.')
            elif len(keys) != 1:
                known = "stands for several; write the key" if keys else "rides in none of these classes"
                self.form.add_error("members", f'"{member}" {known}. Correct the line, or take it out.')
            else:
                members[keys[0]] = team
        return members

    def _member_lines(self, teams: Mapping[str, Any], numbers: list[str]) -> str:
        members: Mapping[str, str] = teams.get("members") or {}
        if not members:
            return ""
        units = units_of_classes(self._classes(numbers), unit=self.kept.get("unit") or "pair")
        names = [name for name, _ in units.values()]
        lines = []
        for key, team in members.items():
            name = units[key][0] if key in units else key
            lines.append(f"{team}: {name if names.count(name) == 1 else key}")
        return "\n".join(sorted(lines))

    def _document(self) -> dict[str, Any]:
        rules = {key: value for key, value in self.rules.items() if key not in {"format", "id", "title"}}
        return {"format": "championship/1", "id": "typed", **rules}


def _numbers(championship: Championship | None) -> list[str]:
    if championship is None:
        return []
    return list(championship.parts.order_by("order").values_list("competition_class__number", flat=True))


def _needless(key: str, value: Any) -> bool:
    """Tell whether a key says only what goes without saying."""
    return value in (None, [], "") or DEFAULTS.get(key) == value
