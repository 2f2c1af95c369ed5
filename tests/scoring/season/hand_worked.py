"""Schemes of every kind with small ledgers, and what a volunteer with a pocket calculator gets out of them.

The rules are built after those in ``fixtures/schemes/published`` (each case names the id); the ledgers are invented.
The arithmetic stands beside the rows. ``standings`` holds one line for each row, as it must be printed::

    unit | place (= shared, - none) | value (- none) | counted | dropped | what is missing: count have/need

and a line that starts with ``#`` for each group. Columns after the value may be left out where nothing stands in them.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Case:
    """A scheme without its format and id, a ledger as CSV, and the standings, or P1's outlook, worked by hand."""

    name: str
    source: str
    scheme: dict[str, object]
    ledger: str
    standings: str = ""
    as_of: str | None = None
    outlook: dict[str, object] = field(default_factory=dict)

    def document(self) -> dict[str, object]:
        return {"format": "scheme/1", "id": self.name, "unit": "pair", **self.scheme}


LEG = {"field": "x-round", "is": "leg"}
FINAL = {"field": "x-round", "is": "final"}
AT_FOURTH = [{"field": "level", "is": "fourth"}, {"field": "percentage", "at_least": "65"}]
AT_THIRD = [{"field": "level", "is": "third"}, {"field": "percentage", "at_least": "65"}]

CASES = (
    Case(
        "median-of-all",
        "us-usdf-yearend: median of all scores, at so many shows, judges and highest tests, and a bar",
        {
            "group_by": ["level"],
            "require": [
                {"count": "scores", "at_least": 4},
                {"count": "judges", "at_least": 3},
                {"count": "competitions", "at_least": 3},
                {"count": "scores", "at_least": 2, "where": [{"field": "highest_of_level", "is": True}]},
            ],
            "value": {"aggregate": "median"},
            "threshold": "60",
        },
        """score_id,pair,level,competition,judges,percentage,highest_of_level
s1,P1,novice,C1,J1,66.250,true
s2,P1,novice,C1,J1;J2,64.500,false
s3,P1,novice,C2,J2,68.125,true
s4,P1,novice,C3,J3,61.875,false
s5,P2,novice,C1,J1,70,true
s6,P2,novice,C1,J2;J3,70,false
s7,P2,novice,C2,J1,70,true
s8,P2,novice,C2,J1,71.111,false
s9,P3,novice,C1,J1,65.374,true
s10,P3,novice,C2,J2,65.375,true
s11,P3,novice,C3,J3,65.376,false
s12,P3,novice,C4,J4,65.376,false
s13,P4,novice,C1,J1,59.999,true
s14,P4,novice,C2,J2,60.000,true
s15,P4,novice,C3,J3,50,false
s16,P4,novice,C3,J3,70,false
s17,P5,novice,C1,J1,59.998,true
s18,P5,novice,C2,J2,60.000,true
s19,P5,novice,C3,J3,50,false
s20,P5,novice,C3,J3,70,false
s21,P1,,C3,J3,90,false
""",
        # P1: 61.875 64.5 66.25 68.125 -> (64.5 + 66.25) / 2 = 65.375; J1 for s1, J2 for s2, J3 for s4.
        # P2: 70 70 70 71.111 -> 70; J1 has s5, s7, s8 and s6 can be only one of J2 and J3: 2 judges; C1 and C2.
        # P3: (65.375 + 65.376) / 2 = 65.3755 -> 65.376.   P4: (59.999 + 60) / 2 = 59.9995 -> 60.000, reaches the bar.
        # P5: (59.998 + 60) / 2 = 59.999, does not.  s21 has no level: a table of its own, last.
        """# novice
P3 | 1 | 65.376 | s9 s10 s11 s12
P1 | 2 | 65.375 | s1 s2 s3 s4
P4 | 3 | 60.000 | s13 s14 s15 s16
P2 | - | 70.000 | s5 s6 s7 s8 | | judges 2/3, competitions 2/3
P5 | - | 59.999 | s17 s18 s19 s20 | | value 59.999/60
# null
P1 | - | 90.000 | s21 | | scores 1/4, judges 1/3, competitions 1/3, scores 0/2""",
    ),
    Case(
        "points-by-class-size",
        "us-mseda: points for places, the table depends on the size of the class, doubled at recognised shows",
        {
            "eligible": [{"field": "percentage", "at_least": "50"}],
            "score": [
                {
                    "places_by_starters": {
                        "5+": {"1": "5", "2": "4", "3": "3", "4": "2", "5": "1"},
                        "4": {"1": "4", "2": "3", "3": "2", "4": "1"},
                        "3": {"1": "3", "2": "2", "3": "1"},
                        "2": {"1": "2", "2": "1"},
                        "1": {"1": "1"},
                    },
                    "shared": "mean",
                },
                {"when": [{"field": "recognised", "is": True}], "then": [{"multiply": "2"}]},
            ],
            "value": {"aggregate": "sum"},
            "decimals": 1,
            "ties": [{"by": "most-firsts"}, {"by": "best-score"}],
        },
        """score_id,pair,competition,class,percentage,placing,starters,recognised
s1,P1,C1,a,66,1,6,false
s2,P1,C1,b,65,2,4,true
s3,P2,C1,c,66,1,4,true
s4,P2,C1,d,60,3,5,false
s5,P3,C1,e,49.999,1,1,false
s6,P3,C1,f,55,6,9,false
s7,P3,C1,g,60,1,,false
s8,P4,C1,h,61,2,3,false
s9,P5,C1,h,61,2,3,false
s10,P6,C1,h,62,1,3,
""",
        # P1: 5 + 3 x 2 = 11, one first.   P2: 4 x 2 + 3 = 11, one first; best score 8 against 6.
        # P3: s5 is below 50, s7 has no starters; s6: sixth is not in the table: 0.
        # P4, P5: second and third of three: (2 + 1) / 2 = 1.5 each; nothing separates them.
        # P6: 3, but whether the show is recognised is not known: the score does not count.
        """P2 | 1 | 11.0 | s3 s4
P1 | 2 | 11.0 | s1 s2
P4 | 3= | 1.5 | s8
P5 | 3= | 1.5 | s9
P3 | 5 | 0.0 | s6""",
    ),
    Case(
        "lowest-sum-of-places",
        "nl-kring: first 1 point, second 2; best two of three, lowest wins; third show, then the dropped result",
        {
            "score": [{"take": "placing"}],
            "require": [{"count": "competitions", "at_least": 2}],
            "value": {"take": {"best": 2}, "aggregate": "sum"},
            "decimals": 0,
            "order": "ascending",
            "ties": [
                {"by": "better-in", "where": [{"field": "competition", "is": "C3"}]},
                {"by": "next-best-scores", "of": "all"},
            ],
        },
        """score_id,pair,competition,date,placing
s1,P1,C1,2026-11-07,1
s2,P1,C2,2026-12-05,4
s3,P1,C3,2027-01-09,2
s4,P2,C1,2026-11-07,2
s5,P2,C2,2026-12-05,1
s6,P2,C3,2027-01-09,5
s7,P3,C1,2026-11-07,3
s8,P3,C2,2026-12-05,2
s9,P3,C3,2027-01-09,1
s10,P4,C1,2026-11-07,4
s11,P4,C2,2026-12-05,3
s12,P5,C1,2026-11-07,5
s13,P5,C2,2026-12-05,5
s14,P5,C3,2027-01-09,3
s15,P6,C3,2027-01-09,4
s16,P7,C1,2026-11-07,3
s17,P7,C2,2026-12-05,4
""",
        # P1 1 + 2 = 3, P2 1 + 2 = 3, P3 1 + 2 = 3: in C3 P3 was first, P1 second, P2 fifth.
        # P4 3 + 4 = 7, P7 3 + 4 = 7, neither in C3, same results: they share, and the next place is 6.
        # P5 3 + 5 = 8; of the two fifths the earlier stays.   P6: one show.
        """P3 | 1 | 3 | s8 s9 | s7
P1 | 2 | 3 | s1 s3 | s2
P2 | 3 | 3 | s4 s5 | s6
P4 | 4= | 7 | s10 s11
P7 | 4= | 7 | s16 s17
P5 | 6 | 8 | s12 s14 | s13
P6 | - | 4 | s15 | | competitions 1/2""",
    ),
    Case(
        "members-ranked-again",
        "au-ahdc-2023: members placed again among themselves, 6-5-4-3-2-1, plus percentage points; over 55 %",
        {
            "eligible": [{"field": "member", "is": True}, {"field": "percentage", "above": "55"}],
            "rerank": ["class"],
            "score": [
                {"places": {"1": "6", "2": "5", "3": "4", "4": "3", "5": "2", "6": "1"}, "shared": "same"},
                {
                    "plus": [
                        {"take": "percentage"},
                        {
                            "bands": [
                                ["60", "1"],
                                ["62", "2"],
                                ["64", "3"],
                                ["66", "4"],
                                ["68", "5"],
                                ["70", "6"],
                                ["72", "7"],
                            ],
                            "below": "0",
                        },
                    ]
                },
            ],
            "value": {"aggregate": "sum"},
            "decimals": 0,
        },
        """score_id,pair,competition,class,member,placing,starters,percentage
s1,P1,C1,k,true,1,8,72.500
s2,P9,C1,k,false,2,8,71.000
s3,P2,C1,k,true,3,8,66.000
s4,P3,C1,k,true,3,8,66.000
s5,P4,C1,k,true,5,8,61.999
s6,P5,C1,k,true,8,8,55.000
s7,P6,C1,k,true,7,8,59.900
s8,P2,C2,k,true,1,3,69.999
s9,P1,C2,k,,2,3,68.000
s10,P3,C2,k,true,3,3,65.000
""",
        # C1 among members: P1 first 6 + 7 = 13; P2 and P3 second 5 + 4 = 9; P4 fourth 3 + 1 = 4; P6 fifth 2 + 0 = 2;
        # 55.000 is not over 55.   C2: P1's membership is not known; P2 6 + 5 = 11; P3 second 5 + 3 = 8.
        """P2 | 1 | 20 | s3 s8
P3 | 2 | 17 | s4 s10
P1 | 3 | 13 | s1
P4 | 4 | 4 | s5
P6 | 5 | 2 | s7""",
    ),
    Case(
        "legs-and-final",
        "ie-leinster-2022: best score of each leg, three highest legs plus the final, 5 more for five legs",
        {
            "limit": [{"keep": "best", "number": 1, "per": ["competition"]}],
            "require": [
                {"count": "competitions", "at_least": 3, "where": [LEG]},
                {"count": "scores", "at_least": 1, "where": [FINAL]},
            ],
            "value": {
                "take": {"best": 3, "plus_all": [FINAL]},
                "aggregate": "sum",
                "add": [{"when": {"count": "competitions", "at_least": 5, "where": [LEG]}, "amount": "5"}],
            },
            "decimals": 2,
        },
        """score_id,pair,competition,x-round,percentage
s1,P1,L1,leg,65.00
s2,P1,L1,leg,66.50
s3,P1,L2,leg,63.25
s4,P1,L3,leg,67.75
s5,P1,L4,leg,60
s6,P1,L5,leg,61.5
s7,P1,F,final,64.33
s8,P2,L1,leg,70
s9,P2,L2,leg,70
s10,P2,L3,leg,70
s11,P2,F,final,60
s12,P3,L1,leg,80
s13,P3,L2,leg,80
s14,P3,F,final,80
s15,P4,L1,leg,70
s16,P4,L2,leg,70
s17,P4,L3,leg,70
s18,P4,L4,leg,50
""",
        # P1: 67.75 + 66.50 + 63.25 = 197.50; + 64.33 = 261.83; + 5 = 266.83.   P2: 210 + 60 = 270.
        # P3: 160 + 80 = 240 with two legs.   P4: 210 without a final.
        """P2 | 1 | 270.00 | s8 s9 s10 s11
P1 | 2 | 266.83 | s2 s3 s4 s7 | s1 s5 s6
P3 | - | 240.00 | s12 s13 s14 | | competitions 2/3
P4 | - | 210.00 | s15 s16 s17 | s18 | scores 0/1""",
    ),
    Case(
        "best-set-with-a-championship",
        "the best three scores, of which one at a championship and before two judges (common practice)",
        {
            "value": {
                "take": {
                    "best": 3,
                    "must": [
                        {"count": "scores", "at_least": 1, "where": [{"field": "x-championship", "is": "yes"}]},
                        {"count": "judges", "at_least": 2},
                    ],
                },
                "aggregate": "mean",
            },
        },
        """score_id,pair,judges,x-championship,percentage
s1,P1,J1,no,70
s2,P1,J1,no,69
s3,P1,J1,no,68
s4,P1,J1,yes,66
s5,P1,J2,no,60
s6,P2,J1,no,68
s7,P2,J2,no,67
s8,P2,J1;J2,yes,66
s9,P3,J1,no,70
s10,P3,J2,no,69
s11,P3,J3,no,68
s12,P4,J1,yes,65
s13,P4,J2,no,64
""",
        # P1: 66 for the championship, 60 for the second judge, 70: 196 / 3 = 65.3333.   P2: 201 / 3 = 67.
        # P3: no championship, so no set.   P4: only two scores: both, 129 / 2 = 64.5.
        """P2 | 1 | 67.000 | s6 s7 s8
P1 | 2 | 65.333 | s1 s4 s5 | s2 s3
P4 | 3 | 64.500 | s12 s13
P3 | - | - | | s9 s10 s11 | scores 0/1""",
    ),
    Case(
        "teams-in-two-stages",
        "a member's mean of the best two, rounded to two decimals; the three best added (common practice)",
        {
            "unit": "team",
            "require": [{"count": "riders", "at_least": 3}],
            "value": {
                "first": {
                    "by": ["rider"],
                    "take": {"best": 2},
                    "aggregate": "mean",
                    "round": {"decimals": 2, "rounding": "half-up"},
                },
                "take": {"best": 3},
                "aggregate": "sum",
            },
            "decimals": 2,
            "ties": [{"by": "best-score"}],
        },
        """score_id,team,rider,percentage
s1,Green,A,65.111
s2,Green,A,66.222
s3,Green,A,60
s4,Green,B,70.005
s5,Green,C,62.5
s6,Green,C,62.51
s7,Green,D,61
s8,Red,E,66.5
s9,Red,F,66
s10,Blue,G,66.07
s11,Blue,H,66.06
s12,Blue,I,66.06
s13,,J,80
""",
        # Green: A (65.111 + 66.222) / 2 = 65.6665 -> 65.67; B 70.005 -> 70.01; C (62.5 + 62.51) / 2 = 62.505 -> 62.51;
        # 65.67 + 70.01 + 62.51 = 198.19.   Blue 66.07 + 66.06 + 66.06 = 198.19; Green has the best score.
        # Red: two riders.   s13 has no team.
        """Green | 1 | 198.19 | s1 s2 s4 s5 s6 | s3 s7
Blue | 2 | 198.19 | s10 s11 s12
Red | - | 132.50 | s8 s9 | | riders 2/3""",
    ),
    Case(
        "tiers-over-a-lifetime",
        "us-cds-gem: tiers for a rider over a lifetime, no freestyles, no hors concours",
        {
            "mode": "achieve",
            "unit": "rider",
            "season": {"lifetime": True},
            "eligible": [{"field": "hors_concours", "is": False}, {"field": "kind", "not_in": ["freestyle"]}],
            "tiers": [
                {
                    "name": "gold",
                    "require": [
                        {"count": "scores", "at_least": 2, "where": AT_FOURTH},
                        {"count": "judges", "at_least": 2, "where": AT_FOURTH},
                    ],
                },
                {"name": "silver", "require": [{"count": "scores", "at_least": 2, "where": AT_THIRD}]},
                {
                    "name": "bronze",
                    "require": [
                        {
                            "any_of": [
                                {"count": "scores", "at_least": 2, "where": [{"field": "level", "is": "second"}]},
                                [{"count": "scores", "at_least": 4}, {"count": "levels", "at_least": 2}],
                            ]
                        },
                    ],
                },
            ],
        },
        """score_id,rider,level,kind,judges,percentage,hors_concours,date
s1,R1,fourth,set,J1;J2,65,false,2001-05-01
s2,R1,fourth,set,J1,66,false,2026-05-01
s3,R2,fourth,set,J1,70,false,2026-05-01
s4,R2,fourth,set,J1,70,false,2026-05-02
s5,R2,third,set,J1,64.999,false,2026-05-03
s6,R2,third,set,J2,65,false,2026-05-04
s7,R3,fourth,freestyle,J1;J2,80,false,2026-05-01
s8,R3,second,set,J1,60,false,2026-05-01
s9,R3,second,set,J1,60,true,2026-05-02
s10,R4,third,set,J1,66,false,2026-05-02
s11,R4,third,set,J1,65,false,2026-05-03
""",
        # R1: J2 from s1 and J1 from s2: gold.   R2: two at fourth but one judge; one of two at third reaches 65; four
        # scores at two levels: bronze.   R3: one of two at second counts.   R4: 66 and 65 at third: silver.
        """R1 | - | - | s1 s2 | | | gold
R4 | - | - | s10 s11 | | | silver
R2 | - | - | s3 s4 s5 s6 | | | bronze
R3 | - | - | s8 | | any_of | null""",
    ),
    Case(
        "bars-by-level",
        "us-tn-state: two scores over the bar of the level, two shows, two judges, from and to a day, both included",
        {
            "mode": "qualify",
            "season": {"from": "2026-08-01", "to": "2027-08-01"},
            "eligible": [
                {"field": "percentage", "at_least_by": {"level": {"novice": "62", "medium": "58", "*": "55"}}}
            ],
            "require": [
                {"count": "scores", "at_least": 2},
                {"count": "competitions", "at_least": 2},
                {"count": "judges", "at_least": 2},
            ],
            "value": {"take": {"best": 2}, "aggregate": "mean"},
        },
        """score_id,pair,level,competition,date,judges,percentage
s1,P1,novice,C1,2026-08-01,J1,62.000
s2,P1,novice,C2,2027-08-01,J2,62.000
s3,P2,novice,C1,2026-07-31,J1,63
s4,P2,novice,C2,2027-05-01,J1,64
s5,P3,medium,C1,2027-05-01,J1,58
s6,P3,grand,C2,2027-05-02,J1,55
s7,P4,novice,C1,2027-05-01,J1,61.999
s8,P4,medium,C2,2027-05-01,J2,57.999
s9,P5,,C1,2027-05-01,J1,70
s10,P5,novice,C2,,J2,70
s11,P6,novice,C2,2027-08-02,J2,70
s12,P7,medium,C1,2027-05-01,J1,70
s13,P7,grand,C2,2027-05-01,J2,55
""",
        # P7 (70 + 55) / 2 = 62.5; P1 62; P2 one score inside the season; P3 (58 + 55) / 2 = 56.5, one judge.
        # P4 below both bars; P5 once without a level, once without a day; P6 a day late.
        """P7 | - | 62.500 | s12 s13
P1 | - | 62.000 | s1 s2
P2 | - | 64.000 | s4 | | scores 1/2, competitions 1/2, judges 1/2
P3 | - | 56.500 | s5 s6 | | judges 1/2""",
        "2027-12-31",
    ),
    Case(
        "afterwards",
        "au-wagga and others: only the higher award, a rider's best horse, last winner shut out, places",
        {
            "group_by": ["level"],
            "value": {"take": {"best": 2}, "aggregate": "mean"},
            "after": [
                {"keep": "highest", "of": "level", "order": ["novice", "medium", "advanced"], "number": 1},
                {"one_per": "rider"},
                {"exclude": ["P4"]},
                {"minimum_units": 2},
                {"places": 2},
            ],
        },
        """score_id,pair,rider,level,percentage
s1,P1,R1,novice,70
s2,P2,R2,novice,69
s3,P3,R2,novice,68
s4,P4,R4,novice,67
s5,P5,R5,novice,66
s6,P6,R6,novice,65
s7,P1,R1,medium,62
s8,P7,R7,medium,61
s9,P8,R8,advanced,60
s10,P7,R7,medium,63
s11,P7,R7,medium,59
""",
        # novice: P1 keeps medium, P3 is R2's second horse, P4 is shut out: P2, P5, P6, of whom two have places.
        # medium: P7 (63 + 61) / 2 = 62 and P1 62 share.   advanced: one pair only.
        """# advanced
P8 | - | 60.000 | s9
# medium
P1 | 1= | 62.000 | s7
P7 | 1= | 62.000 | s8 s10 | s11
# novice
P2 | 1 | 69.000 | s2
P5 | 2 | 66.000 | s5
P1 | - | 70.000 | s1
P3 | - | 68.000 | s3
P4 | - | 67.000 | s4
P6 | - | 65.000 | s6""",
    ),
    Case(
        "lowest-dropped-but-protected",
        "the lowest of more than three is dropped, unless a requirement would break (after the contract's own example)",
        {
            "require": [{"count": "competitions", "at_least": 3}],
            "value": {"drop_lowest": {"number": 1, "when_more_than": 3, "protect": True}, "aggregate": "mean"},
        },
        """score_id,pair,competition,percentage
s1,P1,C1,70
s2,P1,C1,69
s3,P1,C2,68
s4,P1,C3,50
s5,P2,C1,60
s6,P2,C2,61
s7,P2,C3,62
s8,P3,C1,60
s9,P3,C2,61
s10,P3,C3,62
s11,P3,C3,63
s12,P3,C2,59
s13,P4,C1,90
""",
        # P1: without 50 or 68 a show would be missing; 69 goes: (70 + 68 + 50) / 3 = 62.6667.   P2: 183 / 3 = 61.
        # P3: 59 goes: (60 + 61 + 62 + 63) / 4 = 61.5.   P4: one show.
        """P1 | 1 | 62.667 | s1 s3 s4 | s2
P3 | 2 | 61.500 | s8 s9 s10 s11 | s12
P2 | 3 | 61.000 | s5 s6 s7
P4 | - | 90.000 | s13 | | competitions 1/3""",
    ),
    Case(
        "start-value-less-five-a-place",
        "de-schwaben: a start value by level less 5 for each place, best three, the final twice; the final for ties",
        {
            "score": [
                {"take": "placing"},
                {"linear": {"level": {"A": ["-5", "155"], "L": ["-5", "175"], "*": ["-5", "195"]}}},
                {"when": [FINAL], "then": [{"multiply": "2"}]},
            ],
            "require": [{"count": "competitions", "at_least": 2, "where": [LEG]}],
            "value": {"take": {"best": 3, "plus_all": FINAL}, "aggregate": "sum"},
            "decimals": 0,
            "ties": [{"by": "better-in", "where": [FINAL]}],
        },
        """score_id,pair,level,competition,x-round,placing
s1,P1,A,C1,leg,1
s2,P1,L,C2,leg,3
s3,P1,M,C3,leg,5
s4,P1,A,C4,leg,2
s5,P1,L,F,final,2
s6,P2,L,C1,leg,1
s7,P2,L,C2,leg,2
s8,P2,L,C3,leg,4
s9,P2,L,F,final,3
s10,P3,M,C1,leg,1
s11,P3,L,F,final,1
""",
        # P1: A1 150, L3 160, M5 170, A2 145 -> 480; final L2 165 x 2 = 330 -> 810.
        # P2: L1 170, L2 165, L4 155 -> 490; final L3 160 x 2 = 320 -> 810: P1 was better in the final.
        # P3: M1 190 + 170 x 2 = 530 with one show.
        """P1 | 1 | 810 | s1 s2 s3 s5 | s4
P2 | 2 | 810 | s6 s7 s8 s9
P3 | - | 530 | s10 s11 | | competitions 1/2""",
    ),
    Case(
        "a-tenth-cut-off",
        "us-edctsa: a tenth of the percentage, cut off at two decimals; half of the shows, the highest test once, 55 %",
        {
            "season": {"lifetime": True, "competitions": 5},
            "eligible": [{"field": "percentage", "at_least": "55"}],
            "score": [{"divide": "10"}, {"round": {"decimals": 2, "rounding": "down"}}],
            "require": [
                {"count": "competitions", "share_of_competitions": "0.5"},
                {"count": "scores", "at_least": 1, "where": [{"field": "highest_of_level", "is": True}]},
            ],
            "value": {"aggregate": "sum"},
            "decimals": 2,
        },
        """score_id,pair,competition,percentage,highest_of_level
s1,P1,C1,71.373,true
s2,P1,C2,65.999,false
s3,P1,C3,60.019,false
s4,P2,C1,99.999,true
s5,P2,C2,70,true
s6,P3,C1,55.000,
s7,P3,C2,55.001,
s8,P3,C3,55.009,false
s9,P4,C1,54.999,true
""",
        # P1: 7.13 + 6.59 + 6.00 = 19.72.   P2: 9.99 + 7.00 = 16.99 at two of five shows; a half of 5 is 2.5, so 3.
        # P3: 5.50 x 3 = 16.50; no score that is known to be in the highest test.   P4: below 55.
        """P1 | 1 | 19.72 | s1 s2 s3
P2 | - | 16.99 | s4 s5 | | competitions 2/3
P3 | - | 16.50 | s6 s7 s8 | | scores 0/1""",
    ),
    Case(
        "twelve-months-and-four-ways-out-of-a-tie",
        "twelve months before the day; best score, next best, best collective marks, more scores (common practice)",
        {
            "season": {"rolling_months": 12},
            "value": {"aggregate": "mean"},
            "ties": [{"by": "best-score"}, {"by": "next-best-scores"}, {"by": "best-collectives"}],
        },
        """score_id,pair,date,percentage,collectives
s1,P1,2026-03-01,90,48
s2,P1,2026-03-02,60,47
s3,P1,2027-03-01,70,48
s4,P1,2027-03-02,90,48
s5,P2,2026-06-01,66,50
s6,P2,2026-06-01,64,50
s7,P3,2026-06-01,70,50
s8,P3,2026-06-01,60,40
s9,P4,2026-06-01,60,50.0
s10,P4,2026-06-01,70,49
s11,P5,2026-06-01,65,60
""",
        # All 65. Best score: P1, P3, P4 70; P2 66; P5 65. Next best: P1, P3, P4 60. Collectives: P3 and P4 50, P1 48.
        """P3 | 1= | 65.000 | s7 s8
P4 | 1= | 65.000 | s9 s10
P1 | 3 | 65.000 | s2 s3
P2 | 4 | 65.000 | s5 s6
P5 | 5 | 65.000 | s11""",
        "2027-03-01",
    ),
    Case(
        "regions-and-freestyles-apart",
        "horses by region, freestyles in a table of their own, members at the time, no hors concours (common practice)",
        {
            "unit": "horse",
            "group_by": ["region", "kind"],
            "eligible": [
                {"field": "member", "is": True},
                {"field": "hors_concours", "is": False},
                {"field": "region", "in": ["north", "south"]},
            ],
            "value": {"take": {"best": 3}, "aggregate": "median"},
        },
        """score_id,horse,region,kind,member,hors_concours,percentage
s1,H1,north,set,true,false,60
s2,H1,north,set,true,false,70
s3,H1,north,set,true,false,65
s4,H1,north,set,true,false,80
s5,H1,north,freestyle,true,false,75
s6,H1,north,freestyle,true,false,76
s7,H2,north,set,true,true,71
s8,H2,north,set,true,false,69
s9,H3,east,set,true,false,80
s10,H4,south,set,true,false,60
s11,H4,south,set,false,false,90
""",
        # H1: best three 80 70 65, the middle is 70; freestyle (75 + 76) / 2 = 75.5.   H2: s7 was hors concours.
        """# north freestyle
H1 | 1 | 75.500 | s5 s6
# north set
H1 | 1 | 70.000 | s2 s3 s4 | s1
H2 | 2 | 69.000 | s8
# south set
H4 | 1 | 60.000 | s10""",
    ),
    Case(
        "tables-keyed-by-numbers",
        "figures that depend on a number: 54.5 and 54.50 are one number (contract: exact decimals)",
        {
            "eligible": [{"field": "percentage", "in": ["70", "71.50"]}],
            "score": [
                {"add_by": {"collectives": {"54.5": "2", "54.0": "1", "*": "0"}}},
                {"multiply_by": {"judge_count": {"1": "1", "2.0": "1.1", "*": "1.2"}}},
            ],
            "value": {"aggregate": "sum"},
            "decimals": 1,
        },
        """score_id,pair,judges,percentage,collectives
s1,P1,J1,70.000,54.50
s2,P2,J1,70.0,54
s3,P3,J1,70,54.000
s4,P4,J1,71.5,53
s5,P5,J1,69.999,54
s6,P6,J1;J2,70,60
s7,P7,J1;J2;J3,70.000,54.5
s8,P8,J1,70,
""",
        # P1 70 + 2; P2, P3 70 + 1; P4 71.5; P5 is not among them; P6 70 x 1.1 = 77; P7 72 x 1.2 = 86.4; P8: not known.
        """P7 | 1 | 86.4 | s7
P6 | 2 | 77.0 | s6
P1 | 3 | 72.0 | s1
P4 | 4 | 71.5 | s4
P2 | 5= | 71.0 | s2
P3 | 5= | 71.0 | s3""",
    ),
    Case(
        "first-of-a-show-last-of-the-season",
        "the first ride of each show, the last three of the season, on three weekends (ISO weeks; contract)",
        {
            "unit": "rider",
            "limit": [{"keep": "first", "number": 1, "per": ["competition"]}],
            "require": [{"count": "weekends", "at_least": 3}],
            "value": {"take": {"last": 3}, "aggregate": "mean"},
        },
        """score_id,rider,competition,date,percentage
s1,R1,C1,2027-01-02,60
s2,R1,C1,2027-01-03,70
s3,R1,C2,2027-01-04,62
s4,R1,C3,2027-01-10,64
s5,R1,C4,2027-01-11,66
s6,R2,C1,2027-01-03,50
s7,R2,C2,2027-01-04,51
""",
        # 2 and 3 January 2027 are in week 53 of 2026, 4 to 10 January in week 1, 11 January in week 2.
        # R1: 60 62 64 66 are left; (62 + 64 + 66) / 3 = 64.   R2: two weeks, 50.5.
        """R1 | 1 | 64.000 | s3 s4 s5 | s1 s2
R2 | - | 50.500 | s6 s7 | | weekends 2/3""",
    ),
    Case(
        "best-but-one-and-bonuses",
        "best of all shows but one, a point for each score, the age of the horse on top (common practice)",
        {
            "value": {
                "take": {"best": {"competitions_minus": 1, "at_most": 4}},
                "aggregate": "sum",
                "add_per_score": "1",
                "add_field": "horse_age",
            },
        },
        """score_id,pair,competition,date,percentage,horse_age
s1,P1,C1,2027-01-01,60,12
s2,P1,C2,2027-02-01,61,12
s3,P1,C3,2027-03-01,62,13
s4,P1,C4,2027-04-01,63,
s5,P2,C1,2027-01-01,70,10
s6,P2,C2,2027-02-01,70,10
""",
        # Four shows, so the best three: 63 + 62 + 61 = 186, + 3, + 13 = 202.   P2: 140 + 2 + 10 = 152.
        """P1 | 1 | 202.000 | s2 s3 s4 | s1
P2 | 2 | 152.000 | s5 s6""",
    ),
)

OUTLOOKS = (
    Case(
        "one-more-for-the-mean",
        "contract: outlook/1, the lowest percentage that would do, at the decimals that are published",
        {
            "require": [{"count": "scores", "at_least": 3}],
            "value": {"aggregate": "mean"},
            "threshold": "65",
        },
        "score_id,pair,percentage\ns1,P1,66.5\ns2,P1,60\n",
        # (126.5 + p) / 3 is published as 65.000 from 64.9995 on: p >= 194.9985 - 126.5 = 68.4985, so 68.499.
        # The next score: from 126.5 / 3 = 42.1667 to 226.5 / 3 = 75.5 in a straight line.
        outlook={
            "qualified": False,
            "value": "63.250",
            "missing": [{"count": "scores", "have": 2, "need": 3}, {"count": "value", "have": "63.250", "need": "65"}],
            "scores_needed": 1,
            "at_least_each": "68.499",
            "rides": [{"new": [], "where": []}],
            "next_score": [
                {"from": "0.000", "to": "100.000", "value": None, "value_from": "42.167", "value_to": "75.500"}
            ],
        },
    ),
    Case(
        "two-judges-missing",
        "contract: a score with a new judge each; break-points where the new score is among the best two",
        {
            "require": [
                {"count": "scores", "at_least": 3},
                {"count": "judges", "at_least": 3},
                {"count": "competitions", "at_least": 2},
            ],
            "value": {"take": {"best": 2}, "aggregate": "mean"},
        },
        "score_id,pair,competition,judges,percentage\ns1,P1,C1,J1,60\ns2,P1,C1,J1,62\n",
        # Two judges are missing, so two rides. Below 60 the next score is dropped: (60 + 62) / 2 = 61; from 60 on
        # (62 + p) / 2: 61 to 81.
        outlook={
            "qualified": False,
            "value": "61.000",
            "missing": [
                {"count": "scores", "have": 2, "need": 3},
                {"count": "judges", "have": 1, "need": 3},
                {"count": "competitions", "have": 1, "need": 2},
            ],
            "scores_needed": 2,
            "at_least_each": "0.000",
            "rides": [{"new": ["judge", "competition"], "where": []}, {"new": ["judge"], "where": []}],
            "next_score": [
                {"from": "0.000", "to": "60.000", "value": "61.000"},
                {"from": "60.000", "to": "100.000", "value": None, "value_from": "61.000", "value_to": "81.000"},
            ],
        },
    ),
    Case(
        "points-still-to-be-had",
        "contract: next_place; each further ride is a win where a scheme looks at places",
        {
            "score": [{"places": {"1": "6", "2": "5", "3": "4", "4": "3", "5": "2", "6": "1"}}],
            "require": [{"count": "scores", "at_least": 4}],
            "value": {"aggregate": "sum"},
            "decimals": 0,
            "threshold": "25",
        },
        "score_id,pair,competition,class,placing,starters,percentage\ns1,P1,C1,a,1,9,66\ns2,P1,C1,b,2,9,65\n",
        # 6 + 5 = 11; with two wins 23, with three 29.
        outlook={
            "value": "11",
            "scores_needed": 3,
            "at_least_each": "0.000",
            "next_place": [
                {"from": 1, "to": 1, "value": "17"},
                {"from": 2, "to": 2, "value": "16"},
                {"from": 3, "to": 3, "value": "15"},
                {"from": 4, "to": 4, "value": "14"},
                {"from": 5, "to": 5, "value": "13"},
                {"from": 6, "to": 6, "value": "12"},
                {"from": 7, "to": None, "value": "11"},
            ],
        },
    ),
    Case(
        "more-judges-count-more",
        "contract: what the scheme tells apart is tried in every combination; here the number of judges",
        {
            "score": [{"multiply_by": {"judge_count": {"1": "1", "2.0": "1.5"}}}],
            "value": {"aggregate": "sum"},
            "threshold": "100",
        },
        "score_id,pair,judges,percentage\ns1,P1,J1,60\n",
        # 60 + 1.5 p is published as 100.000 from 99.9995 on: p >= 39.9995 / 1.5 = 26.6663.., so 26.667. Before one
        # judge it would be 40.000. The next score is like the latest, before one judge: 60 + p.
        outlook={
            "value": "60.000",
            "scores_needed": 1,
            "at_least_each": "26.667",
            "rides": [{"new": [], "where": [{"field": "judge_count", "is": 2}]}],
            "next_score": [
                {"from": "0.000", "to": "100.000", "value": None, "value_from": "60.000", "value_to": "160.000"}
            ],
        },
    ),
    Case(
        "nothing-missing",
        "contract: is the unit qualified, and what one more score would do (median: a step, a line, a step)",
        {"require": [{"count": "scores", "at_least": 2}], "value": {"aggregate": "median"}},
        "score_id,pair,percentage\ns1,P1,60\ns2,P1,64\n",
        # The median of 60, 64 and p is 60, p, or 64.
        outlook={
            "qualified": True,
            "value": "62.000",
            "missing": [],
            "scores_needed": 0,
            "next_score": [
                {"from": "0.000", "to": "60.000", "value": "60.000"},
                {"from": "60.000", "to": "64.000", "value": None, "value_from": "60.000", "value_to": "64.000"},
                {"from": "64.000", "to": "100.000", "value": "64.000"},
            ],
        },
    ),
)
