"""Random ledgers and random schemes out of everything that the contract lets a scheme say, from one seed."""

import random

FEW = 0.12
"""How often a value is not known."""
DAYS = [
    "2026-09-30", "2026-10-01", "2027-01-04", "2027-01-10", "2027-01-11", "2027-02-28", "2027-03-01", "2027-09-30",
    "2027-10-01",
]  # fmt: skip
PERCENTAGES = ["60", "60.000", "65.5", "65.50", "70", "70.000", "62.125", "58.333", "66.667", "0", "100"]
COUNTS = [
    "scores", "judges", "competitions", "dates", "tests", "levels", "classes", "venues", "weekends", "pairs", "riders",
    "horses",
]  # fmt: skip
CONDITIONS = [
    {"field": "member", "is": True},
    {"field": "hors_concours", "is": False},
    {"field": "highest_of_level", "is": True},
    {"field": "percentage", "at_least": "60"},
    {"field": "percentage", "at_least": "62.125"},
    {"field": "percentage", "above": "60"},
    {"field": "percentage", "at_most": "66.667"},
    {"field": "percentage", "below": "70.000"},
    {"field": "percentage", "is": "60.0"},
    {"field": "percentage", "in": ["60", "65.5"]},
    {"field": "kind", "is": "set"},
    {"field": "kind", "not_in": ["freestyle"]},
    {"field": "judges", "is": "J1"},
    {"field": "judges", "in": ["J1", "J2"]},
    {"field": "judges", "not_in": ["J3"]},
    {"field": "judge_count", "at_least": 3},
    {"field": "date", "before": "2027-03-01"},
    {"field": "date", "after": "2026-10-01"},
    {"field": "date", "at_least": "2026-10-01"},
    {"field": "date", "at_most": "2027-02-28"},
    {"field": "percentage", "at_least_by": {"level": {"novice": "66", "*": "60"}}},
    {"field": "percentage", "at_least_by": {"level": {"novice": {"kind": {"set": "60", "*": "65.5"}}, "élève": "58"}}},
    {"field": "starters", "above": 2},
    {"field": "placing", "at_most": 3},
    {"field": "horse_age", "in": [4, 5]},
    {"field": "x-round", "is": "final"},
    {"field": "status", "not_in": ["eliminated"]},
    {"field": "level", "in": ["novice", "médium"]},
    {"field": "collectives", "at_least": "12.5"},
]
SHARED = ["same", "mean", "dense"]
BY_SIZE = {"1": {"1": "1"}, "2-3": {"1": "3", "2": "2"}, "4+": {"1": "8", "2": "6", "3": "4", "*": "1"}}
AGGREGATES = ["mean", "median", "sum", "best", "count"]
SEASONS = [
    {"from": "2026-10-01", "to": "2027-09-30"}, {"rolling_months": 5}, {"rolling_months": 12}, {"rolling_days": 49},
    {"lifetime": True}, {"from": "2027-01-04"}, {"to": "2027-09-30"},
]  # fmt: skip
TIES = [
    "best-score", "next-best-scores", "more-scores", "fewer-scores", "latest-score", "best-collectives",
    "mean-percentage", "most-firsts", "better-in", "more",
]  # fmt: skip
LEVELS = ["novice", "médium", "élève"]


class Drawing:
    """Draws from one seed; what hangs together is drawn together."""

    def __init__(self, seed):
        self.random = random.Random(seed)
        self.one_of, self.whole = self.random.choice, self.random.randint

    def chance(self, share):
        return self.random.random() < share

    def rows(self, most=14):
        return [self.row(number) for number in range(self.whole(0, most))]

    def row(self, number):
        starters, seats = self.whole(1, 8), self.one_of([1, 1, 2, 3, 5])
        exact = f"{self.whole(50, 72)}.{self.whole(0, 999):03d}"
        drawn = {
            "pair": ["P1", "P2", "P10", "Pé"], "rider": ["R1", "R2"], "horse": ["H1", "H2", "H3"], "level": LEVELS,
            "division": ["open", "junior"], "test": ["T1", "T2", "T3"], "highest_of_level": ["true", "false"],
            "kind": ["set", "freestyle", "final"], "date": DAYS, "competition": ["C1", "C2", "C3", "C4"],
            "class": ["K1", "K2"], "judges": [";".join(self.random.sample(["J1", "J2", "J3", "J4", "J5"], seats))],
            "percentage": [*PERCENTAGES, *[exact] * 5], "collectives": ["12", "12.5", "14"],
            "placing": [str(self.whole(1, starters))], "starters": [str(starters)],
            "status": ["completed", "completed", "eliminated"], "hors_concours": ["false", "false", "true"],
            "recognised": ["true"], "member": ["true", "true", "false"], "region": ["N", "S"], "team": ["A", "B"],
            "venue": ["V1", "V2"], "owner": ["O1"], "horse_age": ["4", "5", "6", "7"], "x-round": ["1", "final"],
        }  # fmt: skip
        known = {name: "" if self.chance(FEW) else self.one_of(values) for name, values in drawn.items()}
        return {"score_id": f"{self.one_of(['s', 'sa'])}{number}", **known}

    def condition(self, depth=0):
        if depth < 2 and self.chance(0.3):
            inner = [self.condition(depth + 1) for _ in range(self.whole(1, 3))]
            return {self.one_of(["any", "all", "not"]): inner}
        return self.one_of(CONDITIONS)

    def need(self, depth=0, *, most=True):
        if depth == 0 and self.chance(0.15):
            options = [self.need(1, most=most), [self.need(1, most=most), self.need(1, most=most)]]
            return {"any_of": options[: self.whole(1, 2)]}
        need = {"count": self.one_of([*COUNTS, "judges", "competitions", "scores"])}
        if most and self.chance(0.08):
            need["at_most"] = self.whole(1, 5)
        elif self.chance(0.1):
            need["share_of_competitions"] = self.one_of(["0.5", "0.25", "1"])
        else:
            need["at_least"] = self.whole(0, 4)
        if self.chance(0.35):
            need["where"] = self.one_of([[self.condition(1)], self.condition(1)])
        return need

    def step(self, depth=0):
        places = {"1": "10", "2": "7", "3": "5.5", **self.one_of([{}, {"*": "1"}])}
        steps = [
            {"take": self.one_of(["percentage", "placing", "starters", "collectives", "horse_age", "judge_count"])},
            {"constant": "2.5"},
            {"places": places, "shared": self.one_of(SHARED)},
            {"places_by_starters": BY_SIZE, "shared": self.one_of(SHARED)},
            {"from_starters": {"most": self.one_of(["6", "4.5"])}, "shared": self.one_of(SHARED)},
            {"riders_beaten": "1.5"},
            {"bands": [["60", "1"], ["62.125", "2"], ["70", "4"]], "below": "-1"},
            {"multiply": "1.5"},
            {"divide": "3"},
            {"add": "-2"},
            {"multiply_by": {"level": {"novice": "0.75", "*": "1"}}},
            {"add_by": {"test": {"T1": "1", "T2": "2"}}},
            {"multiply_by": {"horse_age": {"4": "1.2", "*": {"kind": {"set": "1", "*": "0.9"}}}}},
            {"linear": {"kind": {"set": ["10", "-500"], "*": ["1", "0"]}}},
            {"round": {"decimals": self.whole(0, 1), "rounding": self.one_of(["half-up", "half-even", "down"])}},
        ]
        if depth == 0:
            inner = [self.step(1), self.step(1)]
            steps += [{"plus": inner}, {"when": self.condition(), "then": inner[:1], "else": inner[1:]}]
        return self.one_of(steps)

    def drop(self):
        return {"number": self.whole(1, 2), "when_more_than": self.whole(0, 4), "protect": self.chance(0.6)}

    def take(self):
        by_season = [{"competitions_minus": 1, "at_most": 3}, {"share_of_competitions": "0.5", "at_least": 1}]
        number = self.one_of([1, 2, 3, 4, *by_season])
        if self.chance(0.2):
            return {"last": number}
        take = {"best": number}
        if self.chance(0.45):
            take["must"] = [self.need(most=False) for _ in range(self.whole(1, 3))]
        if self.chance(0.25):
            take["plus_all"] = self.condition()
        return take

    def value(self):
        value = self.part()
        if self.chance(0.25):
            value["first"] = {
                "by": self.one_of([["kind"], ["competition"], ["rider"], ["kind", "level"]]),
                **self.part(),
            }
            if self.chance(0.3):
                value["first"]["round"] = {"decimals": 1, "rounding": "half-up"}
        if self.chance(0.15):
            value["add_per_score"] = "0.5"
        if self.chance(0.15):
            value["add"] = [{"when": self.need(), "amount": "5"}]
        if self.chance(0.1):
            value["add_field"] = "horse_age"
        return value

    def part(self):
        part = {"aggregate": self.one_of(AGGREGATES)}
        if self.chance(0.35):
            part["drop_lowest"] = self.drop()
        if self.chance(0.5):
            part["take"] = self.take()
        return part

    def limit(self):
        per = self.one_of([["competition"], ["kind"], ["date"], [], ["rider", "test"]])
        limit = {"keep": self.one_of(["best", "first", "last"]), "number": self.whole(1, 2), "per": per}
        return {**limit, "where": self.condition()} if self.chance(0.25) else limit

    def tie(self):
        tie = {"by": self.one_of(TIES)}
        if tie["by"] == "better-in" or self.chance(0.2):
            tie["where"] = [self.condition()]
        if tie["by"] == "more":
            tie["count"] = self.one_of(COUNTS)
        if tie["by"] != "better-in" and self.chance(0.2):
            tie["of"] = "all"
        return tie

    def after(self, group_by):
        steps = [{"places": 2}, {"minimum_units": 2}, {"exclude": ["P1", "R1"]}, {"one_per": "rider"}]
        if "level" in group_by:
            steps.append({"keep": "highest", "of": "level", "order": LEVELS, "number": self.whole(1, 2)})
        return self.one_of(steps)

    def threshold(self, group_by):
        bars = ["60", "5", {"at_least": "62"}, {"above": "60"}, {"at_most": "66"}, {"below": "65"}]
        by_level = [{"level": {"novice": "60", "*": "5"}}] if "level" in group_by else []
        return self.one_of([*bars, *by_level])

    def scheme(self):
        mode = self.one_of(["rank", "rank", "rank", "qualify", "achieve"])
        group_by = self.one_of([[], [], ["level"], ["level", "division"], ["kind"], ["highest_of_level"]])
        scheme = {
            "format": "scheme/1", "id": "random", "mode": mode, "group_by": group_by,
            "unit": self.one_of(["pair", "pair", "rider", "horse", "team", "owner", "x-round"]),
            "season": dict(self.one_of(SEASONS)), "decimals": self.whole(0, 3),
            "rounding": self.one_of(["half-up", "half-even", "down"]),
            "order": self.one_of(["descending", "descending", "ascending"]),
        }  # fmt: skip
        if self.chance(0.15):
            scheme["season"]["competitions"] = self.one_of([5, self.condition()])
        if self.chance(0.25):
            scheme["rerank"] = self.one_of([["class"], ["test", "date"], ["class", "competition"], ["level"]])
        for key, draw, share in (
            ("eligible", self.condition, 0.6), ("score", self.step, 0.6), ("limit", self.limit, 0.45),
            ("require", self.need, 0.6), ("ties", self.tie, 0.6), ("after", lambda: self.after(group_by), 0.35),
        ):  # fmt: skip
            if self.chance(share):
                scheme[key] = [draw() for _ in range(self.whole(1, 3))]
        if mode == "achieve":
            scheme["tiers"] = [{"name": name, "require": [self.need()]} for name in ("gold", "silver")]
        if mode == "rank" or self.chance(0.7):
            scheme["value"] = self.value()
            if self.chance(0.3):
                scheme["threshold"] = self.threshold(group_by)
        return scheme
