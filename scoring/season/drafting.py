"""A scheme that is still being written: what is wrong with it, and what can be said of it already."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from scoring.documents import Problem
from scoring.season.descriptions import describe_scheme
from scoring.season.scheme import Scheme, read_with_problems

__all__ = ["Draft", "block_sentences", "read_draft"]

_BLOCK = re.compile(r"([^.\[]+)(?:\[(\d+)\])?")
_FRAME = ("unit", "mode", "group_by", "order", "value")
_HEAD: Mapping[str, object] = {"format": "scheme/1", "id": "draft", "title": "", "sources": []}


@dataclass(frozen=True, slots=True)
class Draft:
    """A document as far as it goes: ``scheme`` is None while there are ``problems``.

    ``sentences`` say the whole rule, or while there are problems those blocks that have none; ``left_out`` then counts
    the blocks that the sentences leave out.
    """

    scheme: Scheme | None
    problems: tuple[Problem, ...]
    sentences: tuple[str, ...]
    left_out: int = 0


def read_draft(document: object) -> Draft:
    """Read a scheme that may have problems, and say in sentences what of it can be said.

    >>> draft = read_draft({"format": "scheme/1", "id": "m", "unit": "pair", "eligible": [{"field": "member"}]})
    >>> draft.scheme is None, draft.left_out, draft.sentences[0]
    (True, 1, 'Each pair is ranked, in one table.')
    """
    scheme, problems = read_with_problems(document)
    if not problems:
        return Draft(scheme, (), tuple(describe_scheme(scheme)))
    if not isinstance(document, Mapping) or any(not problem.path for problem in problems):
        return Draft(None, problems, ())
    sentences, left_out = _sayable({**document, **_HEAD})
    return Draft(None, problems, sentences, left_out)


def block_sentences(document: object, key: str, index: int | None = None) -> tuple[str, ...]:
    """Say what one block of a scheme adds to it: a key, or one member of the list under it; nothing where it cannot.

    >>> means = {"format": "scheme/1", "id": "m", "unit": "pair", "value": {"aggregate": "mean"}}
    >>> block_sentences(means | {"eligible": [{"field": "member", "is": True}]}, "eligible", 0)
    ('A score counts only if the membership was in force.',)
    """
    block = document.get(key) if isinstance(document, Mapping) else None
    if index is not None:
        block = [block[index]] if isinstance(block, list) and 0 <= index < len(block) else None
    if block is None or not isinstance(document, Mapping):
        return ()
    frame = {name: document[name] for name in _FRAME if name in document} | dict(_HEAD)
    with_it, _ = _sayable({**frame, key: block})
    without, _ = _sayable({name: value for name, value in frame.items() if name != key})
    return tuple(sentence for sentence in with_it if sentence not in without)


def _sayable(document: Mapping[str, object]) -> tuple[tuple[str, ...], int]:
    """Describe a document without the blocks that have problems, and count these.

    What is wrong only between blocks (a ranking without a value) hides nothing.
    """
    rest, gone = dict(document), 0
    while True:
        scheme, problems = read_with_problems(rest)
        blocks = _blocks(problems, rest)
        if not blocks:
            return tuple(describe_scheme(scheme)), gone
        if any(key == "unit" for key, _ in blocks):
            return (), gone + len(blocks)
        rest, gone = _without(rest, blocks), gone + len(blocks)


def _blocks(problems: Iterable[Problem], document: Mapping[str, object]) -> set[tuple[str, int | None]]:
    """Return the blocks of a document that problems are about: a key, or one member of the list under it."""
    found: set[tuple[str, int | None]] = set()
    for problem in problems:
        match = _BLOCK.match(problem.path)
        key = next((name for name in document if problem.path == name), match[1] if match else "")
        if key in document or key == "unit":
            whole = match is None or match[2] is None or not isinstance(document.get(key), list)
            found.add((key, None if whole or match is None else int(match[2])))
    return {(key, index) for key, index in found if index is None or (key, None) not in found}


def _without(document: Mapping[str, object], blocks: set[tuple[str, int | None]]) -> dict[str, object]:
    rest = {key: value for key, value in document.items() if (key, None) not in blocks}
    for key, value in rest.items():
        if isinstance(value, list):
            rest[key] = [member for index, member in enumerate(value) if (key, index) not in blocks]
    return rest
