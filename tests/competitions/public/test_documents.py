from __future__ import annotations

import pytest
from django.test import Client

import scoring
from tests.builders import make_rule_set, make_test, rules_document

pytestmark = pytest.mark.django_db


def test_a_rule_set_is_shown_in_sentences_with_its_sources(client: Client):
    make_rule_set()
    page = client.get("/rule-sets/house-rules/").content.decode()
    for sentence in scoring.describe_rules(scoring.read_rules(rules_document())):
        assert sentence.replace("'", "&#x27;") in page
    assert "invented for tests" in page


def test_a_test_is_shown_with_coefficients_and_its_maximum(client: Client):
    make_test()
    page = client.get("/tests/linden-novice-1/").content.decode()
    assert "80 points at most" in page  # 4 movements, one twice, and collectives 1 and 2: 8 x 10
    assert "from 0 to 10 in steps of 0.5" in page
    row = page.partition("Movement 2</th>")[2].partition("</tr>")[0]
    assert ">2</td>" in row
    assert page.index("Movement 4") < page.index("Collective marks") < page.index("Paces")
