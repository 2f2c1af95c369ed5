"""Rule sets and tests as people read them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

import scoring
from competitions import policy
from competitions.models import RuleSet, Test
from scoring.exact import format_exact
from scoring.marks import mark_text


@require_safe
def rule_set_page(request: HttpRequest, key: str) -> HttpResponse:
    rule_set = get_object_or_404(policy.visible(request.user, RuleSet.objects.all()), key=key)
    rules = scoring.read_rules(rule_set.document)
    return render(
        request,
        "competitions/rule_set.html",
        {"rule_set": rule_set, "sentences": scoring.describe_rules(rules), "sources": rules.sources},
    )


@require_safe
def test_page(request: HttpRequest, key: str) -> HttpResponse:
    kept = get_object_or_404(policy.visible(request.user, Test.objects.all()), key=key)
    test = scoring.read_test(kept.document)
    lines = [(item, format_exact(item.coefficient)) for item in test.items]
    return render(
        request,
        "competitions/test.html",
        {
            "kept": kept,
            "test": test,
            "movements": [line for line in lines if not line[0].collective],
            "collectives": [line for line in lines if line[0].collective],
            "maximum": format_exact(test.maximum),
            "scales": [
                (mark_text(scale.minimum), mark_text(scale.maximum), mark_text(scale.step))
                for scale in dict.fromkeys(item.scale for item in test.items)
            ],
        },
    )
