"""A second, slow computation of a class straight from its document, with fractions only.

It shares no code with ``scoring`` and is written from the contract, line by line; places come from
``scipy.stats.rankdata``.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from scipy.stats import rankdata


def fraction(value):
    return Fraction(str(value))


def rounded(value, decimals, mode):
    scaled = value * 10**decimals
    below = math.floor(scaled)
    rest = scaled - below
    if mode == "down":
        whole = below
    elif mode == "half-up":
        whole = below + (rest >= Fraction(1, 2))
    else:
        whole = below + (rest > Fraction(1, 2) or (rest == Fraction(1, 2) and below % 2 == 1))
    return Fraction(whole, 10**decimals)


def text(value, decimals):
    if value is None:
        return None
    units = value * 10**decimals
    assert units.denominator == 1
    digits = str(units.numerator).rjust(decimals + 1, "0")
    return f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits


def plain(value):
    """Write an exact decimal as short as it goes."""
    if value is None:
        return None
    for decimals in range(40):
        if (value * 10**decimals).denominator == 1:
            return text(value, decimals)
    raise AssertionError(value)


def places(values):
    """Place numbers by value, the highest first; ``values`` are exact and are ranked by their order alone."""
    if not values:
        return {}
    order = {value: index for index, value in enumerate(sorted(set(values.values())))}
    ranks = rankdata([-order[value] for value in values.values()], method="min")
    return {key: int(rank) for key, rank in zip(values, ranks, strict=True)}


class Oracle:
    def __init__(self, document):
        self.document = document
        self.rules = document["rules"]
        self.test = document["test"]
        self.mode = self.rules.get("rounding", "half-up")
        self.decimals = self.rules["total"]["decimals"]
        self.sheet_decimals = self.rules["sheet_percentage"]["decimals"]
        self.weights = {name: fraction(w) for name, w in (self.rules.get("parts") or {}).items()}
        self.items = self.test["items"] if self.test else []
        self.seats = {seat["seat"]: seat.get("parts") or list(self.weights) for seat in document["panel"]}
        self.split = any(set(parts) != set(self.weights) for parts in self.seats.values())
        self.rides = {entry["number"]: self.ride(entry) for entry in document["entries"]}

    def coefficient(self, item):
        return fraction(item.get("coefficient", "1"))

    def top(self, item):
        return fraction({**self.test["mark"], **(item.get("mark") or {})}["max"])

    def at_sheet(self, value):
        return value if self.sheet_decimals is None else rounded(value, self.sheet_decimals, self.mode)

    def error_cost(self, errors):
        steps = [fraction(step) for step in self.rules["errors"]["steps"]]
        return sum((steps[min(n, len(steps) - 1)] for n in range(errors)), Fraction(0)) if steps else Fraction(0)

    def off(self, entry, kind, seat, part):
        off = Fraction(0)
        for deduction in entry.get("deductions", []):
            same_seat = deduction.get("seat") in (None, seat)
            same_part = part is None or (deduction.get("part") or "technical") == part
            if deduction["off"] == kind and same_seat and same_part:
                off += fraction(deduction["amount"])
        errors = self.rules.get("errors")
        if kind == "sheet-points" and errors and errors["off"] == kind and part in (None, "technical"):
            off += self.error_cost(entry.get("errors", 0))
        return off

    def part_figures(self, entry, seat, part, sheet):
        """Points and maximum of the marked items after what comes off, and the percentage; None without marks."""
        if "points" in sheet:
            points = fraction(sheet["points"])
            maximum = self.document["maximum"]
            if maximum is None:
                items = [i for i in self.items if part is None or i.get("part", "technical") == part]
                maximum = sum(self.top(i) * self.coefficient(i) for i in items)
            maximum = fraction(maximum)
        else:
            marks = sheet["marks"]
            items = [
                i
                for i in self.items
                if marks.get(i["id"]) is not None and (part is None or i.get("part", "technical") == part)
            ]
            points = sum((fraction(marks[i["id"]]) * self.coefficient(i) for i in items), Fraction(0))
            maximum = sum((self.top(i) * self.coefficient(i) for i in items), Fraction(0))
            if not items:
                return None
        points = max(Fraction(0), points - self.off(entry, "sheet-points", seat, part))
        percentage = self.at_sheet(points * 100 / maximum)
        if part is not None:
            percentage = max(Fraction(0), percentage - self.off(entry, "part-percentage", seat, part))
        return points, maximum, percentage

    def sheet(self, entry, seat, sheet):
        parts = self.seats[seat] if self.weights else [None]
        if "percentage" in sheet:
            percentage = fraction(sheet["percentage"])
            if len(parts) > 1 or parts[0] is None:
                return {"points": None, "maximum": None, "percentage": percentage, "parts": {}}
            percentage = max(Fraction(0), percentage - self.off(entry, "part-percentage", seat, parts[0]))
            return {"points": None, "maximum": None, "percentage": percentage, "parts": {parts[0]: percentage}}
        found = {part: self.part_figures(entry, seat, part, sheet) for part in parts}
        found = {part: figures for part, figures in found.items() if figures}
        if not found:
            return None
        if parts == [None] or len(parts) == 1:
            percentage = found[parts[0]][2]
        else:
            weight = sum(self.weights[part] for part in found)
            percentage = self.at_sheet(sum(self.weights[part] * f[2] for part, f in found.items()) / weight)
        return {
            "points": sum(f[0] for f in found.values()),
            "maximum": sum(f[1] for f in found.values()),
            "percentage": percentage,
            "parts": {part: f[2] for part, f in found.items() if part},
        }

    def is_full(self, seat, sheet):
        if "marks" not in sheet:
            return True
        parts = self.seats[seat]
        needed = [i for i in self.items if not self.weights or i.get("part", "technical") in parts]
        return all(sheet["marks"].get(i["id"]) is not None for i in needed)

    def ride(self, entry):
        errors = self.rules.get("errors")
        status = entry["status"]
        limit = errors and errors["eliminated_at"]
        if limit and entry.get("errors", 0) >= limit and status in ("completed", "running"):
            status = "eliminated"
        ride = {"entry": entry, "status": status, "total": None, "parts": {}, "penalty": None, "moved": {}}
        sheets = {}
        for seat in self.seats:
            sheet = entry["sheets"].get(seat)
            if sheet is not None and (status == "running" or self.is_full(seat, sheet)):
                figures = self.sheet(entry, seat, sheet)
                if figures is not None:
                    sheets[seat] = figures
        ride["sheets"] = sheets
        ride["counted"] = {seat: figures["percentage"] for seat, figures in sheets.items()}
        if status not in ("completed", "running") or not sheets:
            return ride
        if status == "completed":
            self.move_outliers(ride)
        ride["parts"] = self.part_means(sheets)
        ride["total"] = self.total(entry, ride)
        if self.rules.get("penalty") and status == "completed":
            factor = fraction(self.rules["penalty"]["factor"])
            exact = (100 - ride["total"]) * factor
            ride["penalty"] = rounded(exact, self.rules["penalty"]["decimals"], self.mode)
        return ride

    def move_outliers(self, ride):
        rule = self.rules.get("outliers")
        if not rule or len(ride["counted"]) < rule["min_sheets"]:
            return
        counted = ride["counted"]
        waiting = set(counted)
        while waiting:
            gaps = []
            for seat in waiting:
                others = [value for name, value in counted.items() if name != seat]
                mean = Fraction(sum(others)) / len(others)
                gaps.append((abs(counted[seat] - mean), -counted[seat], seat, mean, others))
            gap, _, seat, mean, others = max(gaps, key=lambda row: row[:3])
            if gap < fraction(rule["limit"]):
                return
            nearest = min(abs(value - counted[seat]) for value in others)
            candidates = [value for value in others if abs(value - counted[seat]) == nearest]
            given, counted[seat] = counted[seat], min(candidates, key=lambda value: abs(value - mean))
            if counted[seat] != given:
                ride["moved"][seat] = counted[seat]
            waiting.remove(seat)

    def part_means(self, sheets):
        means = {}
        for part in self.weights:
            marking = [seat for seat in sheets if part in self.seats[seat]]
            values = [sheets[seat]["parts"].get(part) for seat in marking]
            if not self.split and any(not figures["parts"] for figures in sheets.values()):
                continue
            values = [value for value in values if value is not None]
            if values:
                means[part] = rounded(sum(values) / len(values), self.decimals, self.mode)
        return means

    def total(self, entry, ride):
        sheets = ride["sheets"].values()
        if self.rules["total"]["method"] == "points":
            exact = sum(s["points"] for s in sheets) * 100 / sum(s["maximum"] for s in sheets)
        elif self.split:
            weight = sum(self.weights[part] for part in ride["parts"])
            exact = sum(self.weights[part] * value for part, value in ride["parts"].items()) / weight
        else:
            exact = sum(ride["counted"].values()) / Fraction(len(ride["counted"]))
        total = rounded(exact, self.decimals, self.mode)
        off = sum(
            (fraction(d["amount"]) for d in entry.get("deductions", []) if d["off"] == "total-percentage"), Fraction(0)
        )
        errors = self.rules.get("errors")
        if errors and errors["off"] == "total-percentage":
            off += self.error_cost(entry.get("errors", 0))
        return rounded(max(Fraction(0), total - off), self.decimals, self.mode)

    def tie_value(self, ride, step):
        by = step["by"]
        if by == "median":
            values = sorted(ride["counted"].values())
            return (values[(len(values) - 1) // 2] + values[len(values) // 2]) / Fraction(2)
        if by == "seat":
            return ride["counted"][step["seat"]]
        if by == "part" and self.weights:
            return ride["parts"].get(step["part"])
        return self.tie_value_of_marks(ride["entry"]["sheets"], step)

    def tie_value_of_marks(self, sheets, step):
        by = step["by"]
        seats = [step["seat"]] if by == "collectives-at" else list(sheets)
        items = self.tie_items(step)
        if not items or any("marks" not in sheets[seat] for seat in seats):
            return None
        added = {
            seat: sum(fraction(sheets[seat]["marks"].get(i["id"]) or 0) * self.coefficient(i) for i in items)
            for seat in seats
        }
        if by == "part":
            maximum = sum(self.top(i) * self.coefficient(i) for i in items)
            values = [self.at_sheet(points * 100 / maximum) for points in added.values()]
            return rounded(sum(values) / Fraction(len(values)), self.decimals, self.mode)
        return sum(added.values())

    def tie_items(self, step):
        belongs = {
            "part": lambda item: item.get("part", "technical") == step["part"],
            "item": lambda item: item["id"] == step["item"],
            "coefficient-items": lambda item: self.coefficient(item) > 1 and not item.get("collective"),
        }.get(step["by"], lambda item: item.get("collective", False))
        return [item for item in self.items if belongs(item)]

    def separate(self, numbers, place, steps):
        """Return places and whether they are shared, for entries that are equal so far."""
        limit = self.rules.get("tie_places")
        if len(numbers) > 1 and steps and (limit is None or place <= limit):
            values = {n: self.tie_value(self.rides[n], steps[0]) for n in numbers}
            if None in values.values():
                return self.separate(numbers, place, steps[1:])
            found = {}
            for behind in sorted(set(places(values).values())):
                group = [n for n in numbers if places(values)[n] == behind]
                found.update(self.separate(group, place + behind - 1, steps[1:]))
            return found
        return {n: (place, len(numbers) > 1) for n in numbers}

    def placings(self):
        minimum = self.rules.get("minimum_for_place")
        ranks = {}
        for number, ride in self.rides.items():
            if ride["status"] != "completed" or ride["entry"].get("hors_concours"):
                continue
            if minimum is None or ride["total"] >= fraction(minimum):
                ranks[number] = ride["total"] if ride["penalty"] is None else -ride["penalty"]
        found = {}
        ranked = places(ranks)
        for place in sorted(set(ranked.values())):
            group = [number for number in ranked if ranked[number] == place]
            found.update(self.separate(group, place, self.rules.get("ties") or []))
        return found

    def rows(self):
        placed = self.placings()
        seat_places = {}
        for seat in self.seats:
            competing = {
                number: ride["sheets"][seat]["percentage"]
                for number, ride in self.rides.items()
                if ride["status"] == "completed" and not ride["entry"].get("hors_concours")
            }
            seat_places[seat] = places(competing)
        return {number: self.row(number, ride, placed, seat_places) for number, ride in self.rides.items()}

    def row(self, number, ride, placed, seat_places):
        completed = ride["status"] == "completed"
        place, shared = placed.get(number, (None, False))
        points = [figures["points"] for figures in ride["sheets"].values()]
        collectives = self.tie_value(ride, {"by": "collectives"}) if completed else None
        penalty = self.rules.get("penalty")
        return {
            "status": ride["status"],
            "placing": place,
            "shared": shared,
            "total": text(ride["total"], self.decimals) if completed else None,
            "so_far": text(ride["total"], self.decimals) if ride["status"] == "running" else None,
            "points": plain(sum(points)) if completed and None not in points else None,
            "penalty": text(ride["penalty"], penalty["decimals"]) if penalty else None,
            "collectives": plain(collectives),
            "parts": {part: text(value, self.decimals) for part, value in ride["parts"].items()},
            "sheets": {
                seat: {
                    "points": plain(figures["points"]),
                    "percentage": self.percentage_text(figures["percentage"]),
                    "place": seat_places[seat].get(number),
                    "adjusted_to": self.percentage_text(ride["moved"].get(seat)),
                }
                for seat, figures in ride["sheets"].items()
            },
        }

    def percentage_text(self, value):
        if value is None:
            return None
        if self.sheet_decimals is None:
            return text(rounded(value, self.decimals, self.mode), self.decimals)
        if (value * 10**self.sheet_decimals).denominator == 1:
            return text(value, self.sheet_decimals)
        return plain(value)

    def order(self):
        """Return the numbers in the order of the output, hidden ones left out."""
        placed = self.placings()
        statuses = ["completed", "eliminated", "retired", "withdrawn", "no-show", "running"]

        def key(number):
            ride = self.rides[number]
            natural = [(0, int(p), "") if p.isdigit() else (1, 0, p) for p in re.findall(r"\d+|\D+", number)]
            unplaced = -ride["total"] if number not in placed and ride["status"] == "completed" else 0
            return (
                number not in placed,
                placed.get(number, (0,))[0],
                statuses.index(ride["status"]),
                unplaced,
                natural,
            )

        hidden = self.rules.get("hors_concours") == "hidden"
        shown = [n for n, ride in self.rides.items() if not (hidden and ride["entry"].get("hors_concours"))]
        return sorted(shown, key=key)

    def teams(self):
        rule = self.document.get("teams")
        if not rule:
            return []
        best = {}
        worse = 1 if rule["of"] == "penalty" else -1
        for number, ride in self.rides.items():
            entry = ride["entry"]
            if entry.get("team") is None or entry.get("hors_concours"):
                continue
            members = best.setdefault(entry["team"], [])
            if ride["status"] == "completed":
                points = sum((f["points"] or 0 for f in ride["sheets"].values()), Fraction(0))
                value = {"percentage": ride["total"], "points": points, "penalty": ride["penalty"]}[rule["of"]]
            elif ride["status"] == "running" or rule["drop_out"] is None:
                continue
            else:
                value = fraction(rule["drop_out"])
            members.append((worse * value, number))
        rows = {}
        for team, members in best.items():
            counted = sorted(value for value, _ in members)[: rule["counting"]]
            if len(counted) == rule["counting"]:
                value = worse * sum(counted)
                value = value / len(counted) if rule["method"] == "mean" else value
                value = rounded(value, self.decimals, self.mode)
                rows[team] = (value, (-worse * value, -counted[-1]))
        ranked = places({team: keys for team, (_, keys) in rows.items()})
        return {team: (ranked.get(team), text(rows[team][0], self.decimals) if team in rows else None) for team in best}
