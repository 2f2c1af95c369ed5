"""Random class documents that are always good, narrow enough for ties to be common."""

from __future__ import annotations

import copy

STATUSES = ["completed"] * 12 + ["eliminated", "retired", "withdrawn", "no-show", "running", "running"]


def random_class(rnd, *, plain=False):
    """Return a ``class/1`` document; ``plain`` leaves out parts, outliers, mixed sheets and what comes off."""
    parts = None if plain else rnd.choice([None, None, None, "same", "split"])
    rules = random_rules(rnd, parts=parts, plain=plain)
    test = random_test(rnd, parts=parts)
    panel = random_panel(rnd, parts=parts)
    if parts != "split" and not plain and rnd.random() < 0.3:
        limit = rnd.choice(["1", "2.5", "6"])
        if rules["total"]["method"] == "mean":
            rules["outliers"] = {"limit": limit, "min_sheets": rnd.choice([2, 3, 4])}
    rules["ties"] = random_ties(rnd, test, panel, parts=parts)
    document = {
        "format": "class/1",
        "id": "random",
        "title": "Random",
        "test": test,
        "rules": rules,
        "maximum": None,
        "panel": panel,
        "entries": [],
        "teams": random_teams(rnd, rules),
    }
    shapes = random_shapes(rnd, document, parts=parts, plain=plain)
    numbers = rnd.sample(["1", "2", "9", "10", "12", "15", "A2", "A10", "101"], rnd.randint(0, 8))
    for number in numbers:
        entry = random_entry(rnd, document, number, shapes, plain=plain)
        earlier = [other for other in document["entries"] if other["status"] == "completed"]
        if earlier and entry["status"] == "completed" and rnd.random() < 0.4:
            entry = rearranged(rnd, document, rnd.choice(earlier), entry)
        document["entries"].append(entry)
    return document


def random_rules(rnd, *, parts, plain):
    mean = parts is not None or rnd.random() < 0.6
    rules = {
        "format": "rules/1",
        "id": "random",
        "sheet_percentage": {"decimals": rnd.choice([0, 1, 2, 3, 3, None])},
        "total": {"method": "mean" if mean else "points", "decimals": rnd.choice([0, 1, 2, 3])},
        "rounding": rnd.choice(["half-up", "half-even", "down"]),
        "errors": None,
        "tie_places": rnd.choice([None, None, 1, 2, 3]),
        "minimum_for_place": rnd.choice([None, None, None, "60", "66.5"]),
        "penalty": rnd.choice([None, None, {"factor": rnd.choice(["1", "1.5"]), "decimals": rnd.choice([0, 1, 2])}]),
        "outliers": None,
        "hors_concours": rnd.choice(["listed", "hidden"]),
    }
    if parts is not None:
        rules["parts"] = {"technical": rnd.choice(["1", "0.6"]), "artistic": rnd.choice(["1", "0.4", "3"])}
    if not plain and rnd.random() < 0.7:
        off, steps = rnd.choice(
            [
                ("sheet-points", ["2", "4"]),
                ("sheet-points", ["0.5"]),
                ("total-percentage", ["0.5", "1"]),
                ("total-percentage", ["2"]),
                ("total-percentage", []),
            ]
        )
        rules["errors"] = {"off": off, "steps": steps, "eliminated_at": rnd.choice([None, 2, 3, 4])}
    return rules


def random_test(rnd, *, parts):
    step = rnd.choice(["0.5", "1", "0.1"])
    items = []
    for index in range(rnd.randint(2, 6)):
        item = {"id": f"{index + 1}", "coefficient": rnd.choice(["1", "1", "2", "1.5", "0.25"])}
        if index >= 1 and rnd.random() < 0.4:
            item["collective"] = True
        if parts is not None:
            item["part"] = ["technical", "artistic"][index % 2]
        elif rnd.random() < 0.2:
            item["part"] = "artistic"
        if rnd.random() < 0.2:
            item["mark"] = rnd.choice([{"step": "0.1"}, {"min": "0", "max": "20", "step": "1"}])
        items.append(item)
    return {"format": "test/1", "id": "random", "mark": {"min": "0", "max": "10", "step": step}, "items": items}


def random_panel(rnd, *, parts):
    panel = [{"seat": seat} for seat in "CEHMB"[: rnd.randint(1, 5)]]
    if parts == "split":
        if len(panel) == 1:
            panel.append({"seat": "B"})
        panel[0]["parts"] = ["technical"]
        panel[1]["parts"] = ["artistic"]
        for seat in panel[2:]:
            seat["parts"] = rnd.choice([["technical"], ["artistic"], ["technical", "artistic"]])
    return panel


def random_ties(rnd, test, panel, *, parts):
    seat = rnd.choice(panel)["seat"]
    steps = [
        {"by": "collectives"},
        {"by": "coefficient-items"},
        {"by": "median"},
        {"by": "item", "item": rnd.choice(test["items"])["id"]},
        {"by": "seat", "seat": seat},
        {"by": "collectives-at", "seat": seat},
    ]
    if parts is not None or any(item.get("part") == "artistic" for item in test["items"]):
        steps.append({"by": "part", "part": "artistic"})
    return rnd.sample(steps, rnd.randint(0, 3))


def random_teams(rnd, rules):
    if rnd.random() < 0.5:
        return None
    of = rnd.choice(["percentage", "points", "penalty"] if rules["penalty"] else ["percentage", "points"])
    return {
        "counting": rnd.randint(1, 3),
        "method": rnd.choice(["sum", "mean"]),
        "of": of,
        "drop_out": rnd.choice([None, "25"]),
    }


def random_shapes(rnd, document, *, parts, plain):
    """Say which kinds of sheet the class may hold beside full sheets of marks."""
    rules, shapes = document["rules"], ["marks"] * 6
    if plain or rnd.random() < 0.5:
        return shapes
    if parts != "same":
        shapes.append("points")
    points_come_off = rules["errors"] and rules["errors"]["off"] == "sheet-points"
    teams_count_points = document["teams"] and document["teams"]["of"] == "points"
    if rules["total"]["method"] == "mean" and not points_come_off and not teams_count_points:
        shapes.append("percentage")
    return shapes


def random_entry(rnd, document, number, shapes, *, plain):
    status = "completed" if plain else rnd.choice(STATUSES)
    entry = {
        "number": number,
        "status": status,
        "hors_concours": rnd.random() < 0.15,
        "team": rnd.choice([None, "Green", "Blue", "Red"]),
        "sheets": {},
    }
    for seat in document["panel"]:
        sheet = random_sheet(rnd, document, seat, rnd.choice(shapes), full=status == "completed")
        if status == "completed" or rnd.random() < 0.8:
            entry["sheets"][seat["seat"]] = sheet
    if not plain:
        entry["errors"] = rnd.choice([0, 0, 0, 1, 1, 2, 3, 5])
        entry["deductions"] = random_deductions(rnd, document, entry)
    return entry


def seat_items(document, seat):
    parts = seat.get("parts")
    return [item for item in document["test"]["items"] if parts is None or item.get("part", "technical") in parts]


def rearranged(rnd, document, entry, other):
    """Give ``other`` the sheets of ``entry`` with seats or marks exchanged, so that totals often come out equal."""
    sheets = {seat: copy.deepcopy(sheet) for seat, sheet in entry["sheets"].items()}
    if not any("parts" in seat for seat in document["panel"]):
        seats = list(sheets)
        sheets = dict(zip(seats, [sheets[seat] for seat in rnd.sample(seats, len(seats))], strict=True))
    items = [item for item in document["test"]["items"] if "mark" not in item]
    for sheet in sheets.values():
        first, second = rnd.choice(document["test"]["items"]), rnd.choice(document["test"]["items"])
        marks = sheet.get("marks", {})
        if first in items and second in items and {first["id"], second["id"]} <= marks.keys():
            marks[first["id"]], marks[second["id"]] = marks[second["id"]], marks[first["id"]]
    same = {key: entry[key] for key in ("errors", "deductions") if key in entry}
    return {**other, **same, "sheets": sheets}


def random_sheet(rnd, document, seat, shape, *, full):
    items = seat_items(document, seat)
    if shape == "percentage" and len(seat.get("parts") or ["one"]) == 1:
        return {"percentage": rnd.choice(["66", "66.5", "67.273", "70.1", "58.3333"])}
    if shape == "points" and len(seat.get("parts") or ["one"]) == 1:
        return {"points": rnd.choice(["1", "1.5", "2", "0"])}
    marks = {}
    for item in items:
        scale = {**document["test"]["mark"], **(item.get("mark") or {})}
        choices = {"0.5": ["6", "6.5", "7", "0"], "1": ["6", "7", "7", "0"], "0.1": ["6.4", "6.5", "6.6", "6.9", "7"]}
        mark = rnd.choice(choices[scale["step"]])
        if full or rnd.random() < 0.7:
            marks[item["id"]] = mark
        elif rnd.random() < 0.3:
            marks[item["id"]] = None
    return {"marks": marks}


def random_deductions(rnd, document, entry):
    deductions = []
    parts = list(document["rules"].get("parts") or {})
    sheets = entry["sheets"].values()
    for _ in range(rnd.choice([0, 0, 0, 1, 2])):
        kinds = ["total-percentage"]
        if not any("percentage" in sheet for sheet in sheets):
            kinds.append("sheet-points")
            if parts:
                kinds.append("part-percentage")
        off = rnd.choice(kinds)
        deduction = {"off": off, "amount": rnd.choice(["0.5", "1", "2", "0.333"]), "reason": "whip"}
        if off != "total-percentage":
            seats = list(document["panel"])
            if parts:
                deduction["part"] = rnd.choice(parts)
                seats = [seat for seat in seats if deduction["part"] in (seat.get("parts") or parts)]
            deduction["seat"] = rnd.choice([None, *(seat["seat"] for seat in seats)])
        deductions.append(deduction)
    return deductions
