"""Examples in docstrings run, and every public function of the scoring core has a docstring."""

from __future__ import annotations

import ast
import doctest
import importlib
from pathlib import Path

import pytest

import scoring

ROOT = Path(scoring.__file__).parent
MODULES = sorted(
    ".".join(("scoring", *path.relative_to(ROOT).with_suffix("").parts))
    for path in ROOT.rglob("*.py")
    if path.name not in ("__init__.py", "__main__.py")
)


@pytest.mark.parametrize("name", ["scoring", *MODULES])
def test_examples_in_docstrings(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", MODULES)
def test_public_functions_say_what_they_do(name):
    path = ROOT.joinpath(*name.split(".")[1:]).with_suffix(".py")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    exported = set()
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
            exported = set(ast.literal_eval(node.value))
    functions = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name in exported]
    assert [node.name for node in functions if not ast.get_docstring(node)] == []


def test_every_name_of_the_package_is_found():
    assert {name for name in dir(scoring) if not hasattr(scoring, name)} == set()
    with pytest.raises(AttributeError):
        scoring.no_such_name  # noqa: B018 - the look-up is the test
