"""What further rides would do, found by really adding them to the ledger and working the season out again.

Shares no line with ``scoring``: the standings are those of ``season_oracle``. The rides are all sets out of ``KINDS``,
and what a scheme of ``OutlookDrawing`` may name is no more than these tell apart.
"""

import datetime as dt
from itertools import combinations_with_replacement, product

from tests.scoring.season.random_seasons import Drawing
from tests.scoring.season.season_oracle import natural, standings

KINDS = [
    {"kind": kind, "highest_of_level": top, "member": member}
    for kind, top, member in product(("set", "freestyle", "quality"), ("true", "false"), ("true", "false"))
]
SIZES = ("1", "3", "6")
CONDITIONS = [
    {"field": "kind", "is": "set"}, {"field": "kind", "not_in": ["freestyle"]}, {"field": "member", "is": True},
    {"field": "highest_of_level", "is": True}, {"field": "percentage", "at_least": "62.125"},
    {"field": "percentage", "above": "60"},
    {"any": [{"field": "kind", "is": "freestyle"}, {"field": "member", "is": True}]},
]  # fmt: skip
STEPS = [
    [], [], [{"bands": [["60", "1"], ["62.125", "2"], ["70", "4"]], "below": "0"}],
    [{"linear": {"kind": {"set": ["10", "-500"], "*": ["10", "-530"]}}}],
    [{"places_by_starters": {"1-2": {"1": "1"}, "3-5": {"1": "4", "2": "2"}, "6+": {"1": "8", "2": "6", "*": "1"}}}],
    [{"from_starters": {"most": "6"}}], [{"multiply_by": {"kind": {"freestyle": "0.9", "*": "1"}}}],
]  # fmt: skip
COUNTS = ["scores", "scores", "judges", "judges", "competitions", "tests", "dates", "weekends", "classes", "venues"]
SEASONS = [
    {"from": "2026-10-01", "to": "2027-09-30"}, {"rolling_months": 12}, {"rolling_days": 49}, {"lifetime": True},
]  # fmt: skip


class OutlookDrawing(Drawing):
    """Draws schemes that tell few kinds of ride apart, so that every set of two of them can be tried."""

    def condition(self, depth=0):
        return self.one_of(CONDITIONS)

    def need(self, depth=0, *, most=True):
        if depth == 0 and self.chance(0.15):
            return {"any_of": [self.need(1, most=most), [self.need(1, most=most), self.need(1, most=most)]]}
        need = {"count": self.one_of(COUNTS), "at_least": self.whole(1, 4)}
        return {**need, "where": [self.condition()]} if self.chance(0.3) else need

    def part(self):
        part = {"aggregate": self.one_of(["mean", "median", "sum", "best", "count"])}
        if self.chance(0.3):
            part["drop_lowest"] = self.drop()
        if self.chance(0.5):
            part["take"] = {"best": self.whole(1, 3)} if self.chance(0.8) else {"last": self.whole(1, 3)}
            if "best" in part["take"] and self.chance(0.5):
                must = {"count": self.one_of(COUNTS), "at_least": self.whole(1, part["take"]["best"])}
                part["take"]["must"] = [must]
        return part

    def value(self):
        value = self.part()
        if self.chance(0.2):
            value = {"aggregate": "sum", "first": {"by": ["kind"], "aggregate": "mean", "take": {"best": 2}}}
        return value

    def scheme(self):
        mode = self.one_of(["rank", "rank", "qualify", "achieve"])
        scheme = {
            "format": "scheme/1", "id": "outlook", "mode": mode, "unit": self.one_of(["pair", "rider"]),
            "season": self.one_of(SEASONS), "score": self.one_of(STEPS), "decimals": self.one_of([0, 3, 9]),
            "rounding": self.one_of(["half-up", "half-even", "down"]),
            "order": self.one_of(["descending", "descending", "descending", "ascending"]),
            "group_by": self.one_of([[], [], ["level"]]),
        }  # fmt: skip
        if scheme["score"] and "from_starters" in scheme["score"][0]:
            scheme["order"] = "descending"  # a win brings the most points: nobody ranks these by the fewest
        if self.chance(0.6):
            scheme["require"] = [self.need() for _ in range(self.whole(1, 2))]
        if self.chance(0.5):
            scheme["eligible"] = [self.condition()]
        if self.chance(0.3):
            limit = {"keep": "best", "number": self.whole(1, 2), "per": [self.one_of(["competition", "test"])]}
            scheme["limit"] = [limit]
        if mode == "achieve":
            scheme["tiers"] = [{"name": name, "require": [self.need()]} for name in ("gold", "silver")]
        if mode == "rank" or self.chance(0.5):
            scheme["value"] = self.value()
            if not scheme["score"] and scheme["value"]["aggregate"] in ("mean", "median", "best") and self.chance(0.5):
                scheme["threshold"] = self.one_of(["62", {"above": "60"}, {"at_most": "66"}])
        return scheme

    def rows(self, most=8):
        """Draw a ledger in which every field is known that a ride of the outlook takes from the latest one."""
        whole = {
            "kind": "set", "highest_of_level": "false", "member": "true", "test": "T1", "level": "novice",
            "percentage": "61.5", "starters": "6", "placing": "2", "judges": "J1", "competition": "C1", "venue": "V1",
            "date": "2027-01-04", "pair": "P1", "rider": "R1", "horse": "H1",
        }  # fmt: skip
        return [
            {name: value or whole.get(name, "") for name, value in row.items()} | {"status": "completed"}
            for row in super().rows(most)
        ]


class Ahead:
    """A unit in one group, and the rides that it may add after ``as_of`` while the season lasts."""

    def __init__(self, scheme, rows, *, unit, group, as_of):
        self.scheme, self.rows, self.unit, self.group, self.as_of = scheme, rows, unit, group, as_of
        own = [row for row in rows if row[scheme["unit"]] == unit]
        here = [row for row in own if all(row[field] == value for field, value in group.items())]
        self.own, self.latest = here, max(here or own, key=when_ridden)
        season = scheme["season"]
        last_ridden = max(row["date"] for row in rows)
        self.first = (as_of or dt.date.fromisoformat(last_ridden)) + dt.timedelta(days=1)
        if "from" in season:
            self.first = max(self.first, dt.date.fromisoformat(season["from"]))
        self.last = dt.date.fromisoformat(season["to"]) if "to" in season else dt.date(2100, 1, 1)

    def line(self, ahead=()):
        for group, table in standings(self.scheme, self.rows, self.as_of, ahead):
            for row in table:
                if group == self.group and row["unit"] == self.unit:
                    return row
        return None

    def qualifies(self, ahead):
        row = self.line(ahead)
        return row is not None and row["qualified"]

    def ride(self, number, day, **fields):
        """Return a ride like the latest one, with a competition, class, venue, test and judge of its own."""
        new = {
            "score_id": f"zz{number}", "competition": f"NC{number}", "class": f"NK{number}", "venue": f"NV{number}",
            "test": f"NT{number}", "judges": f"NJ{number}", "date": day.isoformat(), "placing": "1",
        }  # fmt: skip
        return {**self.latest, **new, **self.group, **fields}

    def days(self, number):
        """Return days to ride on: the last ones left, a week apart as far as there is room."""
        room = (self.last - self.first).days
        if room > 7 * (number + 1):
            return [self.first + dt.timedelta(days=7 * (n + 1)) for n in range(number)]
        return [self.first + dt.timedelta(days=max(0, room * (n + 1) // number)) for n in range(number)]

    def sets(self, number, percentage):
        """Yield every set of so many rides of these kinds, each with this percentage."""
        days = self.days(number)
        for size in SIZES if "starters" in str(self.scheme["score"]) else ("6",):
            for kinds in combinations_with_replacement(KINDS, number):
                yield [
                    self.ride(n, days[n], percentage=percentage, starters=size, **kind) for n, kind in enumerate(kinds)
                ]


def when_ridden(row):
    return row["date"], natural(row["score_id"])
