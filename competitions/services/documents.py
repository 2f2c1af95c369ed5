"""Keeping tests and rule sets."""

from __future__ import annotations

import json
from typing import Any

import scoring
from competitions.models import RuleSet, Test
from riders.errors import InvalidInput, NotAllowed
from riders.transactions import write_transaction


def save_test(document: object) -> Test:
    """Keep a test; the same again changes nothing, another content under an id that classes use is refused."""
    try:
        read = scoring.read_test(document)
    except scoring.InvalidDocument as error:
        raise _refusal("The test cannot be used.", error) from error
    test: Test = _save(Test, read.id, title=read.title or read.id, document=document, level=read.level)
    return test


def save_rule_set(document: object) -> RuleSet:
    """Keep a rule set, on the same terms as a test."""
    try:
        read = scoring.read_rules(document)
    except scoring.InvalidDocument as error:
        raise _refusal("The rule set cannot be used.", error) from error
    rule_set: RuleSet = _save(RuleSet, read.id, title=read.title or read.id, document=document)
    return rule_set


def _save(model: Any, key: str, **fields: Any) -> Any:
    fields["document"] = json.loads(json.dumps(fields["document"], default=str))
    with write_transaction():
        kept = model.objects.select_for_update().filter(key=key).first()
        if kept is None:
            return model.objects.create(key=key, **fields)
        if kept.document == fields["document"]:
            return kept
        if kept.classes.exists():
            raise NotAllowed(
                f'"{key}" is used by classes and cannot change under them. Give the changed document another id.',
                code="in-use",
            )
        for name, value in fields.items():
            setattr(kept, name, value)
        kept.save()
        return kept


def _refusal(message: str, error: scoring.InvalidDocument) -> InvalidInput:
    return InvalidInput(
        f"{message} Correct what is listed and send it again.",
        problems=[(problem.path, problem.message) for problem in error.problems],
    )
