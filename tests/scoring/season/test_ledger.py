import datetime as dt
from decimal import Decimal
from fractions import Fraction

import pytest

from scoring import season
from scoring.documents import InvalidDocument

HEADER = (
    "score_id,pair,rider,horse,division,level,test,highest_of_level,kind,date,competition,class,judges,percentage,"
    "collectives,placing,starters,status,hors_concours,recognised,member,region,team,venue,owner,horse_age"
)
ROW = (
    "s1,P1,R1,H1,open,novice,Novice 2,true,set,2027-03-01,C1,K1,J1;J2,66.667,56.5,2,14,completed,false,true,TRUE,North,"
    "Green,V1,O1,9"
)


def problems_of(text):
    with pytest.raises(InvalidDocument) as refused:
        season.read_scores(text)
    return {problem.path: problem.message for problem in refused.value.problems}


def test_every_field_of_a_row_is_read_in_its_type():
    (score,) = season.read_scores(f"{HEADER}\n{ROW}\n")
    assert score.percentage == Fraction("66.667")
    assert score.collectives == Fraction("56.5")
    assert score.date == dt.date(2027, 3, 1)
    assert score.judges == ("J1", "J2")
    assert (score.placing, score.starters, score.horse_age) == (2, 14, 9)
    assert (score.highest_of_level, score.hors_concours, score.recognised, score.member) == (True, False, True, True)
    assert (score.pair, score.class_id, score.value_of("class"), score.status) == ("P1", "K1", "K1", "completed")


def test_json_lines_hold_the_same_names_and_give_the_same_score():
    line = (
        '{"score_id": "s1", "pair": "P1", "percentage": 66.667, "judges": ["J1", "J2"], "placing": 2, '
        '"hors_concours": false, "member": null, "date": "2027-03-01"}'
    )
    csv = "score_id,pair,percentage,judges,placing,hors_concours,member,date\ns1,P1,66.667,J1;J2,2,false,,2027-03-01\n"
    assert season.read_scores(line) == season.read_scores(csv) == season.read_scores(csv.encode("utf-8-sig"))


def test_rows_from_python_are_read_alike():
    row = {
        "score_id": "s1",
        "percentage": Decimal("66.5"),
        "date": dt.date(2027, 3, 1),
        "member": True,
        "team": None,
    }
    (score,) = season.scores_from_rows([row])
    assert (
        score
        == season.scores_from_rows(
            [{"score_id": "s1", "percentage": "66.5", "date": "2027-03-01", "member": "true", "team": ""}]
        )[0]
    )


def test_empty_cells_missing_columns_and_short_rows_are_unknown():
    (score,) = season.read_scores("score_id,pair,percentage,judges\ns1,,\n")
    assert (score.pair, score.percentage, score.judges, score.member) == (None, None, (), None)
    assert score.value_of("judges") is None
    assert score.value_of("judge_count") is None


def test_a_column_of_the_users_own_starts_with_x():
    (score,) = season.read_scores("score_id,x-club-show,x-note\ns1,true,\n")
    assert score.value_of("x-club-show") == "true"
    assert score.value_of("x-note") is None


def test_every_bad_row_is_listed_with_its_row_and_field():
    text = (
        "score_id,percentage,date,placing,member,status,judges\n"
        "s1,66.5,2027-03-01,1,true,completed,J1\n"
        "s2,101,2027-02-30,0,yes,running,J1;J1\n"
        ",60,,,,,\n"
        's1,"65,5",01.03.2027,1.5,,,\n'
        "s5,-1,,,,,,extra\n"
    )
    found = problems_of(text)
    assert set(found) == {
        "row 3.percentage", "row 3.date", "row 3.placing", "row 3.member", "row 3.status", "row 3.judges",
        "row 4.score_id", "row 5.percentage", "row 5.date", "row 5.placing", "row 6",
    }  # fmt: skip
    assert found["row 3.percentage"] == '"percentage" is "101". Give a percentage from 0 to 100.'
    assert all(message.endswith(".") for message in found.values())


def test_a_score_id_stands_once():
    assert problems_of("score_id\ns1\ns2\ns1\n") == {
        "row 4.score_id": 'The score "s1" stands already in row 2. Remove one of the two rows.'
    }


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("", "row 1"),
        ("\n\n", "row 1"),
        ("pair,percentage\nP1,60\n", "row 1.score_id"),
        ("score_id,percent\ns1,60\n", "row 1.percent"),
        ("score_id,pair,pair\ns1,a,b\n", "row 1.pair"),
        ("score_id;pair\ns1;P1\n", "row 1"),
        ('score_id,pair\n"s1"x,P1\n', "row 2"),
        ('score_id,pair\n"s1,P1\n', "row 2"),
        ("score_id\0,pair\ns1,P1\n", ""),
        (b"score_id,pair\ns1,\xff\n", ""),
        ('{"score_id": "s1"}\n{"score_id": \n', "row 2"),
        ('{"score_id": "s1"}\n[1]\n', "row 2"),
        ('{"score_id": "s1", "score_id": "s2"}\n', "row 1"),
        ('{"score_id": "s1", "percentage": NaN}\n', "row 1"),
        ('{"score_id": "s1", "percentage": true}\n', "row 1.percentage"),
        ('{"score_id": "s1", "judges": 4}\n', "row 1.judges"),
        ('{"score_id": "s1", "percentge": 4}\n', "row 1.percentge"),
        ('{"pair": "P1"}\n', "row 1.score_id"),
    ],
)
def test_a_ledger_that_cannot_be_used_is_refused_with_a_sentence(text, path):
    found = problems_of(text)
    assert path in found
    assert all(message.endswith(".") for message in found.values())


def test_a_float_is_refused_so_that_no_binary_number_enters():
    with pytest.raises(InvalidDocument, match="percentage"):
        season.scores_from_rows([{"score_id": "s1", "percentage": 66.5}])
