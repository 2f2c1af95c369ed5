"""What a kind of report is, and how its file is called."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from reports.pdf.text import one_line
from riders.policy import Visitor

MEDIA_TYPES: Mapping[str, str] = {
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""The kinds of file that reports are, by the ending of their names."""

_LONGEST_NAME = 140


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """``find`` gives the subject or None; ``version`` names everything that the document may show of it.

    ``settle`` returns the options with what was left open by whoever asks settled, so that the same document is the
    same job, and goes on showing the same.
    """

    name: str
    title: str
    private: bool
    find: Callable[[int, Mapping[str, Any]], Any]
    version: Callable[[Any], str]
    may_have: Callable[[Visitor, Any], bool]
    file_name: Callable[[Any], str]
    options: frozenset[str] = frozenset()
    settle: Callable[[Any], dict[str, Any]] | None = None


def named(*parts: str, ending: str = "pdf") -> str:
    """Return a file name that every system takes, with the letters that names are written in."""
    plain = re.sub(r'[\\/:*?"<>|]+', " ", one_line(", ".join(part for part in parts if part)))
    return f"{' '.join(plain.split())[:_LONGEST_NAME].strip(' .,')}.{ending}"


def media_type_of(file_name: str) -> str:
    return MEDIA_TYPES[file_name.rpartition(".")[2]]
