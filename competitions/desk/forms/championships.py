"""The rule of a championship as it is typed at the desk, and what stands in the fields for a rule that is kept."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django import forms

from competitions.desk.forms.fields import DeskForm, text_field, whole_field
from scoring.exact import format_exact, parse_decimal

MOST_ROWS = 20
_TIE_ROWS, _TEAM_TIE_ROWS, _CLASS_ROWS = 5, 3, 4

DEFAULTS: dict[str, Any] = {"unit": "pair", "of": "total", "rounding": "half-up"}
"""What a rule means where it does not say it."""

_FIGURES = [("total", "total percentages"), ("penalty", "penalties"), ("points", "points"), ("placing", "places")]
_STEPS = [
    ("", "no step"),
    ("total", "the total"),
    ("placing", "the place"),
    ("collectives", "the collective marks"),
    ("part", "a part of the test"),
    ("seat", "the percentage of one seat"),
    ("mean", "the mean of the totals"),
    ("best-class", "the best class of all"),
]
_TEAM_STEPS = [
    ("", "no step"),
    ("value", "the team's value"),
    ("placing", "the team's place"),
    ("best-class", "the best class of all"),
]


class ChampionshipForm(DeskForm):
    """The rule without its classes and its tie steps; the keys are those of ``championship/1``."""

    title = text_field("Title", longest=160)
    slug = forms.SlugField(
        label="Short name",
        max_length=60,
        help_text="Stands in the address of its page for good, such as small-tour.",
        error_messages={"invalid": "The short name may hold letters, digits, hyphens and underscores only."},
    )
    unit = forms.ChoiceField(
        label="Who is placed",
        choices=[("pair", "pairs"), ("rider", "riders, with their better horse"), ("horse", "horses")],
    )
    method = forms.ChoiceField(
        label="How the classes are put together",
        choices=[("mean", "their mean"), ("total", "their sum"), ("last-class-decides", "the last class decides")],
    )
    of = forms.ChoiceField(label="Which figure of a class", choices=_FIGURES)
    counting = whole_field(
        "Best classes that count", least=1, most=MOST_ROWS, required=False, help_text="Empty: all of them."
    )
    decimals = whole_field("Decimals", least=0, most=9)
    rounding = forms.ChoiceField(
        label="Rounding",
        choices=[
            ("half-up", "an exact half goes up"),
            ("half-even", "an exact half goes to the even figure"),
            ("down", "cut off"),
        ],
    )
    drop_out = text_field(
        "A class that ends without a figure counts as",
        longest=12,
        required=False,
        help_text="Eliminated, retired, withdrawn or not come. Empty: listed without a place.",
    )
    tie_places = whole_field(
        "Equal ones are parted up to place", least=1, most=1000, required=False, help_text="Empty: at every place."
    )
    teams_from = forms.ChoiceField(
        label="Teams",
        required=False,
        choices=[
            ("", "no teams"),
            ("classes", "from the team results of the classes"),
            ("units", "from the values of their members"),
        ],
    )
    teams_method = forms.ChoiceField(
        label="Put together as", required=False, choices=[("sum", "their sum"), ("mean", "their mean")]
    )
    teams_of = forms.ChoiceField(
        label="Which figure of a team",
        required=False,
        choices=[
            ("value", "its value, the highest wins"),
            ("penalty", "its value, penalties"),
            ("placing", "its place"),
        ],
    )
    teams_counting = whole_field(
        "How many count", least=1, most=1000, required=False, help_text="Best classes, or best members. Empty: all."
    )
    teams_drop_out = text_field(
        "One without a value counts as",
        longest=12,
        required=False,
        help_text="Members only. Empty: does not count.",
    )
    members = forms.CharField(
        label="Members",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="One a line, team first, such as Green: Ada Fenwick with Copper Lark. Empty: as the entries say.",
    )
    sources = forms.CharField(
        label="Where the rule stands",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="One source a line, such as the schedule and its article.",
    )
    why = text_field("Why", longest=300, required=False, help_text="For the history of the championship.")

    def __init__(self, *args: Any, new: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not new:
            del self.fields["slug"]

    def clean_drop_out(self) -> str:
        return _amount(self.cleaned_data["drop_out"])

    def clean_teams_drop_out(self) -> str:
        return _amount(self.cleaned_data["teams_drop_out"])


def _amount(typed: str) -> str:
    text = typed.strip().replace(",", ".")
    try:
        return format_exact(parse_decimal(text)) if text else ""
    except ValueError:
        raise forms.ValidationError(f'"{typed}" is not a number. Enter one such as 25, or leave it empty.') from None


class ClassRow(DeskForm):
    """One class of the championship, by its number."""

    number = forms.ChoiceField(label="Class", required=False)

    def __init__(self, *args: Any, offered: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["number"].choices = [("", "no class"), *offered]  # type: ignore[attr-defined]


class StepRow(DeskForm):
    """One tie step: by what, in which class, and of which part or seat."""

    by = forms.ChoiceField(label="By", required=False, choices=_STEPS)
    where = text_field("In class", longest=60, required=False)
    what = text_field("Part or seat", longest=40, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        by, where, what = cleaned.get("by", ""), cleaned.get("where", ""), cleaned.get("what", "")
        if not by and (where or what):
            self.add_error("by", "This line says where, but not by what. Choose a step, or clear the line.")
        if by in {"total", "placing", "collectives", "part", "seat", "value"} and not where:
            self.add_error("where", "Say in which class this step looks, by its number.")
        if by in {"part", "seat"} and not what:
            self.add_error("what", f"Name the {by}, such as {'artistic' if by == 'part' else 'C'}.")
        if by == "best-class" and where:
            self.add_error("where", "This step looks at every class. Clear this field.")
        return cleaned


class TeamStepRow(StepRow):
    by = forms.ChoiceField(label="By", required=False, choices=_TEAM_STEPS)


def rows_of(row: type[DeskForm], *, filled: int, least: int) -> Any:
    """Return the kind of form set that offers ``least`` rows, and always one more than are filled."""
    number = min(MOST_ROWS, max(least, filled + 1))
    return forms.formset_factory(row, extra=0, min_num=number, max_num=MOST_ROWS, absolute_max=MOST_ROWS)


def class_rows(*, filled: int, offered: int) -> Any:
    return rows_of(ClassRow, filled=max(0, min(filled, offered) - 1), least=min(MOST_ROWS, max(_CLASS_ROWS, offered)))


def tie_rows(*, filled: int) -> Any:
    return rows_of(StepRow, filled=filled, least=_TIE_ROWS)


def team_tie_rows(*, filled: int) -> Any:
    return rows_of(TeamStepRow, filled=filled, least=_TEAM_TIE_ROWS)


def steps_of(rows: Any, numbers: Sequence[str]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield each tie step as ``championship/1`` writes it, with the number of its row; a fault goes to the row."""
    for index, row in enumerate(rows.forms):
        if not row.is_valid() or not row.cleaned_data.get("by"):
            continue
        by, what = row.cleaned_data["by"], row.cleaned_data["what"].strip()
        wanted = [number for number in re.split(r"[,;\s]+", row.cleaned_data["where"]) if number]
        unknown = [number for number in wanted if number not in numbers]
        if unknown:
            row.add_error("where", f"Class {unknown[0]} is none of the classes above. Enter numbers of those.")
            continue
        positions = [numbers.index(number) + 1 for number in wanted]
        step: dict[str, Any] = {"by": by}
        if by == "mean":
            step |= {"classes": positions} if positions else {}
        elif by != "best-class":
            if len(positions) > 1:
                row.add_error("where", "This step looks at one class. Enter one number.")
                continue
            step["class"] = positions[0]
        yield index, step | ({by: what} if by in {"part", "seat"} else {})


def initial_steps(steps: Sequence[Mapping[str, Any]], numbers: Sequence[str]) -> list[dict[str, str]]:
    """Return the rows of the form for the steps of a rule that is kept."""
    found = []
    for step in steps:
        positions = step.get("classes") or ([step["class"]] if "class" in step else [])
        where = ", ".join(numbers[position - 1] for position in positions if position <= len(numbers))
        what = step.get("part") or step.get("seat") or ""
        found.append({"by": step["by"], "where": where, "what": what})
    return found


def initial_of(document: Mapping[str, Any], *, members: str) -> dict[str, Any]:
    """Return what stands in the fields for a rule that is kept; ``members`` are its lines."""
    teams = document.get("teams") or {}
    names = ("title", "unit", "method", "of", "counting", "decimals", "rounding", "drop_out", "tie_places")
    found = DEFAULTS | {name: document[name] for name in names if document.get(name) is not None}
    found["sources"] = "\n".join(document.get("sources") or ())
    found |= {f"teams_{key}": teams[key] for key in ("from", "method", "of", "counting", "drop_out") if key in teams}
    return found | {"members": members}
